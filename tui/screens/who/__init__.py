"""Who sits here: the name that stands on what is written."""
