"""The job as a list of events, folded into one value, with what a round still needs and what the job tells."""
