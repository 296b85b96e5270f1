"""Everything that is a screen; no arithmetic here."""
