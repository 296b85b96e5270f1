"""Figures as people type them."""

from __future__ import annotations

import re

from listen.errors import HisswayError
from tui.words import plain


def figure(text: str, what: str) -> float:
    """A number as people type it; a comma is a decimal point, a percent sign is let go."""
    if re.fullmatch(r"\d{1,6}(?:[.,]\d{1,6})?", text.strip().rstrip("% ")) is None:
        raise HisswayError(f"“{plain(text, 20)}” is no {what}; type a number, for example 12.5")
    return float(text.strip().rstrip("% ").replace(",", "."))
