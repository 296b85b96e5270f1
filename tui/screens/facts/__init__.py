"""Facts: everything that may be told of an engine beside its readings, in one list that can be searched."""
