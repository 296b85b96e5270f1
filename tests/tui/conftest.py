"""Makes the helpers of this folder importable, and the start of an app cheaper."""

from __future__ import annotations

import sys
from pathlib import Path

from textual.css.model import RuleSet
from textual.css.stylesheet import Stylesheet

sys.path.insert(0, str(Path(__file__).parent))


def _parse_once() -> None:
    """The same style sheet under the same colours is parsed once a process, not once an app: an eighth of its start."""
    known: dict[object, list[RuleSet]] = {}
    parse = Stylesheet._parse_rules

    def parsed(sheet: Stylesheet, *text: object, **more: object) -> list[RuleSet]:
        key = (text, tuple(more.items()), tuple(sheet._variables.items()))
        if key not in known:
            known[key] = parse(sheet, *text, **more)  # type: ignore[arg-type]
        return known[key]

    Stylesheet._parse_rules = parsed  # type: ignore[method-assign, assignment]


_parse_once()
