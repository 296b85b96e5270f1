"""Waiting: the rounds of all jobs that wait for a supervisor, and the way to each that passes no verdict."""
