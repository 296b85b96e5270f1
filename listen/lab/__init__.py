"""Drills, the ear threshold, and the simulator that renders a round from a stated truth."""
