"""Protects the promise of pyproject.toml's lower bounds: the versions that CI tries are the lowest ones allowed."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

HOUSE = Path(__file__).resolve().parents[1]
BOUND = re.compile(r"(?P<name>[a-z0-9-]+)>=(?P<version>[0-9.]+)")


def _numbers(version: str) -> tuple[int, ...]:
    parts = [int(n) for n in version.split(".")]
    while parts and parts[-1] == 0:  # 8.0 and 8.0.0 are one version
        parts.pop()
    return tuple(parts)


def test_every_dependency_is_tried_at_its_lower_bound() -> None:
    """Each has a lower bound and no other, and tests/lowest.txt pins exactly that version, no more names, no fewer."""
    project = tomllib.loads((HOUSE / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = [*project["dependencies"], *project["optional-dependencies"]["cluster"]]
    wanted += project["optional-dependencies"]["phone"]
    bounds = {m["name"]: _numbers(m["version"]) for text in wanted if (m := BOUND.fullmatch(text))}
    assert len(bounds) == len(wanted) > 10
    lines = (HOUSE / "tests" / "lowest.txt").read_text("utf-8").splitlines()
    pins = [line.split("==") for line in lines if not line.startswith("#")]
    assert {name: _numbers(version) for name, version in pins} == bounds
