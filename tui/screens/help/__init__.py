"""Help for the screen one is on."""
