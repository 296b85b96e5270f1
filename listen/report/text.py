"""The report as Markdown and as JSON: the same content without drawings and sounds."""

from __future__ import annotations

import json
from functools import cache, partial
from typing import Any

import jinja2
import msgspec

from listen.report.clean import clean_tree, markdown
from listen.report.content import Report
from listen.voice import figures


def markdown_text(report: Report) -> str:
    """The report in Markdown; every name and note is shown literally."""
    page = _environment().get_template("report.md.jinja")
    return page.render(
        r=report,
        percent=figures.sure,
        signed=partial(figures.number, sign=True),
        figure=figures.decibels,
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
        finalize=_literal,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def _literal(value: Any) -> Any:
    return markdown(value) if isinstance(value, str) else value
