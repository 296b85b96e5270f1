"""Confirm: the supervisor hears, calls, sees, decides and signs."""
