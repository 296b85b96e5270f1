"""Diagnosis: what the pattern over the whole engine says, and the next cheapest check."""
