"""A simulator that renders a round from a stated truth, drills and the ear threshold on it, and the shipped demo."""
