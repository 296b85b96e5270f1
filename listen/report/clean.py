"""Text from anyone made safe to print: no control, direction or non-characters, nothing that breaks a page's form."""

import math
import re
from typing import Any

_BAD = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f"  # controls
    "\u200e\u200f\u202a-\u202e\u2066-\u2069"  # direction marks and overrides: they make a name read as another
    "\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]"  # halves of characters, and what is none
)
_MARKDOWN = re.compile(r"([\\`*_{}\[\]<>#|~!$])")
_LINE_START = re.compile(r"^([-+=]|\d+(?=[.)]))")


def clean(text: str) -> str:
    """The text with everything a page must not hold replaced by U+FFFD."""
    kept = _BAD.sub("\N{REPLACEMENT CHARACTER}", text)
    return "".join("\N{REPLACEMENT CHARACTER}" if ord(c) & 0xFFFE == 0xFFFE else c for c in kept)


def clean_tree(value: Any) -> Any:
    """Plain values (from JSON) with every text cleaned and every figure finite."""
    if isinstance(value, str):
        return clean(value)
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, dict):
        return {clean_tree(k): clean_tree(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [clean_tree(v) for v in value]
    return value


def markdown(text: str) -> str:
    """The text as Markdown that shows it literally, on one line."""
    line = " ".join(clean(text).split())
    escaped = _MARKDOWN.sub(r"\\\1", line).replace("&", "&amp;")
    return _LINE_START.sub(lambda m: f"\\{m[1]}" if not m[1].isdigit() else f"{m[1]}\\", escaped)
