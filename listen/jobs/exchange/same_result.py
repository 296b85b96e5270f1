"""Whether two results are the same but for the last digits, which another machine's arithmetic may turn."""

import math
import re
from typing import Any

SAME_RELATIVE = 5e-5
SAME_ABSOLUTE = 1.5e-3
"""Results are stored with three digits; one unit of the last may differ between machines, more may not."""
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


def first_difference(a: Any, b: Any, at: str = "") -> str:
    """Where two results (as plain values) differ beyond the last digits; empty where they do not."""
    if isinstance(a, dict) and isinstance(b, dict):
        keys = sorted(a.keys() | b.keys())
        return next((d for k in keys if (d := first_difference(a.get(k), b.get(k), f"{at}.{k}".lstrip(".")))), "")
    if isinstance(a, list | tuple) and isinstance(b, list | tuple):
        if len(a) != len(b):
            return f"{at} ({len(a)} then, {len(b)} now)"
        pairs = enumerate(zip(a, b, strict=True))
        return next((d for n, (x, y) in pairs if (d := first_difference(x, y, f"{at}[{n}]"))), "")
    if a == b or (_number(a) and _number(b) and _close(a, b)):
        return ""
    if isinstance(a, str) and isinstance(b, str) and _same_words(a, b):
        return ""
    return f"{at} ({a!r} then, {b!r} now)"


def _number(x: Any) -> bool:
    return isinstance(x, int | float) and not isinstance(x, bool)


def _close(a: float, b: float) -> bool:
    return math.isclose(a, b, rel_tol=SAME_RELATIVE, abs_tol=SAME_ABSOLUTE)


def _same_words(a: str, b: str) -> bool:
    """Same sentence, each number in it the same within one unit of its last digit."""
    if _NUMBER.split(a) != _NUMBER.split(b):
        return False
    return all(_within_a_digit(x, y) for x, y in zip(_NUMBER.findall(a), _NUMBER.findall(b), strict=True))


def _within_a_digit(x: str, y: str) -> bool:
    decimals = len(x.partition(".")[2])
    return len(y.partition(".")[2]) == decimals and abs(float(x) - float(y)) <= 1.01 * 10.0**-decimals
