"""Evidence: what the clips of one point show and sound like."""
