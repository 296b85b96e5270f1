"""Verdict: what may be said, how sure, and what moved the odds."""
