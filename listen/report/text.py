"""The report as Markdown and as JSON, and text from anyone made safe to print in any form of it."""

import json
import math
import re
from functools import cache, partial
from typing import Any

import jinja2
import msgspec

from listen.report.content import Report
from listen.voice import figures


def markdown_text(report: Report) -> str:
    """The report in Markdown; every name and note is shown literally."""
    page = _environment().get_template("report.md.jinja")
    return page.render(
        r=report, percent=figures.sure, signed=partial(figures.number, sign=True), figure=figures.decibels
    )


def json_text(report: Report) -> str:
    """The report as one JSON object (schema ``hissway.report/2``)."""
    return json.dumps(clean_tree(msgspec.to_builtins(report)), ensure_ascii=False, indent=2, allow_nan=False) + "\n"


@cache
def _environment() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.PackageLoader("listen.report", "templates"),
        autoescape=False,  # noqa: S701 - Markdown is escaped by its own rule in finalize
        undefined=jinja2.StrictUndefined,
        finalize=lambda value: markdown(value) if isinstance(value, str) else value,
        trim_blocks=True,
        lstrip_blocks=True,
    )


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
