"""Text that somebody else chose (titles, names, paths, files), made safe to show: one line, nothing that steers."""

import struct
import unicodedata
from typing import Any

STANDS_FOR = "\u25af"
"""Shown for a character that would steer the terminal or turn the line around."""
_UNSEEN = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
"""Unicode categories that are not drawn: controls, direction marks, surrogates, private use, line separators."""
_JOINERS = {"\u200d", "\ufe0f"}
"""Zero-width joiner and emoji selector: parts of letters and emoji."""
MOST_CHARACTERS = 400


def plain(text: object, limit: int = MOST_CHARACTERS) -> str:
    """Text as one safe line of at most ``limit`` characters; what is cut ends in an ellipsis."""
    # Cut before it is looked through: a hostile text may have any length.
    line = "".join(" " if c in "\t\n\r" else c for c in str(text)[: limit + 1])
    safe = "".join(STANDS_FOR if commands_a_terminal(c) else c for c in line)
    return safe if len(safe) <= limit else safe[: limit - 1] + "…"


def commands_a_terminal(char: str) -> bool:
    """Whether a terminal would not draw this character, but obey it or turn the line around."""
    return unicodedata.category(char) in _UNSEEN and char not in _JOINERS


def cell(value: object) -> str:
    """A cell of a CSV file; what a spreadsheet would take for a formula is quoted with '."""
    text = str(value)
    return f"'{text}" if text.startswith(("=", "+", "-", "@", "\t", "\r")) else text


def json_line(value: Any) -> str:
    """JSON on one line in which nothing steers a terminal: such characters are written as escapes of the same value."""
    import msgspec  # only where JSON is asked for

    text = msgspec.json.encode(value).decode()
    return text if text.isprintable() else "".join(_escaped(c) if commands_a_terminal(c) else c for c in text)


def _escaped(char: str) -> str:
    # JSON's escapes are UTF-16: what lies beyond takes two of them.
    pairs = char.encode("utf-16-be")
    return "".join(f"\\u{unit:04x}" for unit in struct.unpack(f">{len(pairs) // 2}H", pairs))
