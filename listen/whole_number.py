"""Whole numbers typed on a command line, within bounds."""

import argparse
from collections.abc import Callable

MOST_SEED = 2**63 - 1
MOST_DIGITS = 25
"""More digits than any bound has; Python refuses to read thousands of them."""


def whole(least: int, most: int, what: str = "a whole number") -> Callable[[str], int]:
    """The ``type`` of an argument that takes whole numbers from ``least`` to ``most`` and refuses others by name."""

    def read(text: str) -> int:
        digits = text.removeprefix("-")
        if digits.isdecimal() and len(digits) <= MOST_DIGITS and least <= (value := int(text)) <= most:
            return value
        raise argparse.ArgumentTypeError(f"{text[:40]!r} is not {what} from {least} to {most}")

    return read


seed = whole(0, MOST_SEED)
"""The ``type`` of a seed."""
