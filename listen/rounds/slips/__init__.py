"""Slips of the person recording, and the doubts they leave: within a round and by the job's other rounds."""
