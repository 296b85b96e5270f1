"""One verdict has one number, whoever says it: screens and the command line agree."""

from __future__ import annotations

import re
from pathlib import Path

import msgspec
import pytest
from bay import settle, to_engine, until, words
from fakes import FakeServices, result_for

from listen.cli.table import round_table
from listen.jobs.events import Judged
from listen.jobs.folder.store import create_job
from listen.judge.result import PathResult, RoundResult
from listen.trade.layout import layout
from tests.jobs.short import begin_round
from tui.app import HisswayApp
from tui.screens.round.screen import RoundScreen
from tui.screens.verdict.screen import VerdictScreen

AT_WORK, ALONE = 0.934, 0.713
"""How likely the path is at work, which is what is told; and its share of what is wrong, which is for programs only."""
SAID, NEVER = "93 %", ("71 %", "94 %", "92 %")


def judged() -> RoundResult:
    result = result_for(["intake", "tailpipe"])
    paths = (
        PathResult(
            path="intake-valve", probability=ALONE, evidence_db={"intake": 11.0, "prior": 0.5}, involved=AT_WORK
        ),
        PathResult(path="rings", probability=1 - ALONE, evidence_db={"intake": -11.0}, involved=0.35),
    )
    text = f"Air escapes past the intake valve ({SAID} sure)."
    said = msgspec.structs.replace(
        result.verdict, kind="path", paths=("intake-valve",), probability=AT_WORK, text=text, next=""
    )
    return msgspec.structs.replace(result, paths=paths, verdict=said)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with create_job(tmp_path / "jobs", title="t", engine=layout("inline-4")) as opened:
        round_id = begin_round(opened, 1)
        opened.append(Judged(round_id=round_id, result=judged(), clips=()))
        return opened.folder


def agrees(text: str) -> None:
    """The path's number is there, and no other number of it."""
    assert SAID in text
    assert not [other for other in NEVER if re.search(rf"(?<![\d.]){re.escape(other)}", text)]


def test_on_the_command_line() -> None:
    agrees(round_table(judged()))


@pytest.mark.parametrize("size", [(80, 24), (160, 45)], ids=str)
async def test_on_the_screens(folder: Path, tmp_path: Path, size: tuple[int, int]) -> None:
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=size) as pilot:
        await to_engine(pilot)
        await settle(pilot)
        agrees(words(app))
        await pilot.press("r")
        await until(pilot, lambda: isinstance(app.screen, RoundScreen))
        await pilot.press("v")
        await until(pilot, lambda: isinstance(app.screen, VerdictScreen))
        await settle(pilot)
        agrees(words(app))
