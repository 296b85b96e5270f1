"""How often the air comes on in a switched take where nobody says otherwise, and how long that takes."""

CYCLES, PERIOD_S = 4, 5.0
"""A leak of 5 % behind 1.0 mm dies away in the 2.5 s of air off; four points are 90 s."""


def switched_s(cycles: int, period_s: float) -> float:
    """Length of a take that begins and ends with air off, seconds."""
    return (cycles + 0.5) * period_s
