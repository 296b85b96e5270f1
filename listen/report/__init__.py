"""The report an owner can read and a shop can trace."""
