"""Before and after: the same engine tested twice, side by side."""
