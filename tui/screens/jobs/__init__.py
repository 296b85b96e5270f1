"""Jobs: find, open, take in."""
