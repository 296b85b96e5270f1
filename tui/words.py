"""How values and other people's text become words on a screen; a user's text is always text, never markup."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

from rich.cells import cell_len
from textual.content import Content

MINUS = "\u2212"
UNKNOWN = "–"
_STANDS_FOR = "\u25af"
"""Shown for a character that would steer the terminal or turn the line around."""
_UNSEEN = {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}
"""Unicode categories that are not drawn: controls, direction marks, surrogates, private use, line separators."""
_JOINERS = {"\u200d", "\ufe0f"}
"""Zero-width joiner and emoji selector: parts of letters and emoji."""


def plain(text: object, limit: int = 400) -> str:
    """Text as one safe line: controls and direction overrides replaced, length bounded."""
    line = str(text)[: limit + 1]
    safe = "".join(_safe(c) for c in line)
    return safe if len(safe) <= limit else safe[: limit - 1] + "…"


def _safe(char: str) -> str:
    if char in "\t\n\r":
        return " "
    if unicodedata.category(char) in _UNSEEN and char not in _JOINERS:
        return _STANDS_FOR
    return char


def shown(text: object, style: str = "") -> Content:
    """The same as content for a widget, in one style."""
    return Content.styled(plain(text), style) if style else Content(plain(text))


def number(value: float | None, decimals: int = 1, *, sign: bool = False) -> str:
    """A number with a true minus, or a dash where there is none."""
    if value is None:
        return UNKNOWN
    text = f"{value:+.{decimals}f}" if sign else f"{value:.{decimals}f}"
    if float(text) == 0:
        text = text.lstrip("+-")
    return text.replace("-", MINUS)


def decibels(value: float | None, decimals: int = 1, *, sign: bool = True) -> str:
    """A level difference with its unit."""
    return UNKNOWN if value is None else f"{number(value, decimals, sign=sign)} dB"


def percent(probability: float | None) -> str:
    """A probability in whole percent, never 0 or 100: nothing here is ever certain."""
    if probability is None:
        return UNKNOWN
    if probability < 0.01:
        return "<1 %"
    if probability > 0.99:
        return ">99 %"
    return f"{probability:.0%}".replace("%", " %")


def percent_plain(share: float) -> str:
    """A share that was counted, in whole percent: 0 and 100 can be."""
    return f"{share:.0%}".replace("%", " %")


def fitting(forms: Iterable[str], columns: int) -> str:
    """The first form that has room, longest first; the last where none has."""
    text = ""
    for text in forms:
        if cell_len(text) <= columns:
            break
    return text


def path_words(path: str) -> str:
    """An escape path in the trade's words."""
    from listen.trade.points import PATH_WORDS, PathId

    return PATH_WORDS[PathId(path)] if path in set(PathId) else plain(path, 40)


SHORT_PATHS = {
    "intake-valve": "intake",
    "exhaust-valve": "exhaust",
    "coolant-passage": "coolant",
    "next-cylinder": "next cyl.",
}
"""Where there is no room for the trade's full words."""


def short_path(path: str) -> str:
    """An escape path in one short word."""
    return SHORT_PATHS.get(path) or path_words(path)


def called(paths: tuple[str, ...], sure: float | None) -> str:
    """A call by ear: the paths, and how sure."""
    words = " and ".join(path_words(p) for p in paths) or "heard something, could not tell where"
    return words if sure is None else f"{words}, {percent(sure)} sure"
