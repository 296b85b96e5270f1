"""Text that somebody else chose (titles, names, paths, files), made safe to show: one line, nothing that steers."""

from __future__ import annotations

import unicodedata

STANDS_FOR = "\u25af"
"""Shown for a character that would steer the terminal or turn the line around."""
_UNSEEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
"""Unicode categories that are not drawn: controls, direction marks, surrogates, private use, line separators."""
_JOINERS = {"\u200d", "\ufe0f"}
"""Zero-width joiner and emoji selector: parts of letters and emoji."""
MOST_CHARACTERS = 400


def plain(text: object, limit: int = MOST_CHARACTERS) -> str:
    """Text as one safe line of at most ``limit`` characters; what is cut ends in an ellipsis."""
    line = str(text)[: limit + 1]
    safe = "".join(_safe(c) for c in line)
    return safe if len(safe) <= limit else safe[: limit - 1] + "…"


def _safe(char: str) -> str:
    if char in "\t\n\r":
        return " "
    if unicodedata.category(char) in _UNSEEN and char not in _JOINERS:
        return STANDS_FOR
    return char
