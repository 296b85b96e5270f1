"""A job's folder on disk: the journal and its chain, clips and parts, one writer at a time."""
