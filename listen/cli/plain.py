"""Names that somebody else chose, made harmless for a terminal."""

from __future__ import annotations


def plain(text: str) -> str:
    """The text with every sign that could steer a terminal, or is half a character, shown as U+FFFD."""
    return "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in text)
