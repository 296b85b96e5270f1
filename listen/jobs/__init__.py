"""The job as a list of events: the journal on disk, its fold into one value, exchange between machines."""
