"""One verdict has one number, whoever says it: every screen, the report, the command line, verify, hit rate, bench."""

from __future__ import annotations

import json
import re
from pathlib import Path

import msgspec
import numpy as np
import pytest
from bay import settle, to_engine, type_text, until, words
from fakes import FakeServices, result_for

from listen.audio.write import write_clip
from listen.bench.accuracy.measured import forecast
from listen.cli import rank
from listen.cli.table import round_table
from listen.jobs.events import FindingRecorded, Judged
from listen.jobs.exchange import verify_results
from listen.jobs.folder.store import create_job, open_job
from listen.jobs.hit_rate import calls
from listen.judge.result import PathResult, RoundResult
from listen.report.before_part import hit_rate_rows
from listen.report.build import Form, Wanted, report_text
from listen.signal.clip import Clip
from listen.trade.engine import layout
from tests.jobs.short import begin_round
from tui.app import HisswayApp
from tui.screens.confirm.screen import ConfirmScreen
from tui.screens.diagnosis.screen import DiagnosisScreen
from tui.screens.evidence.screen import EvidenceScreen
from tui.screens.page.screen import PageScreen
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
        for n, (point, kind) in enumerate((p, k) for p in ("intake", "tailpipe") for k in ("quiet", "air")):
            file = tmp_path / f"{n}.flac"
            write_clip(file, Clip.of(1e-2 * np.random.default_rng(n).standard_normal(24_000), 48_000))
            opened.keep_file(file, opened.new_part(round_id, point, kind, kind))
        clips = tuple(c.id for c in opened.job.round(round_id).live_clips())
        opened.append(Judged(round_id=round_id, result=judged(), clips=clips))
        return opened.folder


def agrees(text: str) -> None:
    """The path's number is there, and no other number of it."""
    assert SAID in text
    never(text)


def never(text: str) -> None:
    """No other number of it is there."""
    assert not [other for other in NEVER if re.search(rf"(?<![\d.]){re.escape(other)}", text)]


def test_on_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    agrees(round_table(judged()))
    rank._print("round", judged(), as_json=True)
    line = json.loads(capsys.readouterr().out)
    agrees(line["verdict"]["text"])
    assert line["verdict"]["probability"] == AT_WORK == line["paths"][0]["involved"]


@pytest.mark.parametrize("form", ["html", "md", "json"])
def test_in_the_report(folder: Path, form: Form) -> None:
    page = report_text(folder, Wanted(form=form))
    agrees(re.sub(r"<style.*?</style>|<[^>]*>", " ", page, flags=re.DOTALL).replace("&nbsp;", " "))


def test_in_what_verify_tells_of_a_verdict(folder: Path) -> None:
    agrees(verify_results._words(judged().verdict))


def test_in_the_hit_rate(folder: Path) -> None:
    with open_job(folder) as opened:
        opened.append(FindingRecorded(cylinder=1, paths=("rings",)))
        (call,) = calls([opened.job])
    agrees(" ".join(line for rows in hit_rate_rows([opened.job]) for line in rows))
    assert call.sure == AT_WORK


def test_in_the_benchs_forecast() -> None:
    assert forecast(judged(), frozenset(), "shop", False).stated == AT_WORK


@pytest.mark.parametrize("size", [(80, 64), (160, 64)], ids=str)
async def test_on_the_screens(folder: Path, tmp_path: Path, size: tuple[int, int]) -> None:
    """Every screen that says it, as it stands; jobs, round and evidence say no other, confirm none before the call."""
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=size) as pilot:
        await until(pilot, lambda: bool(app.screen.query("#jobs")) and app.screen.query_one("#jobs").display)
        await settle(pilot)
        assert not re.search(r"\d %", words(app))
        await to_engine(pilot)
        await settle(pilot)
        agrees(words(app))
        await pilot.press("d")
        await until(pilot, lambda: isinstance(app.screen, DiagnosisScreen))
        await settle(pilot)
        never(words(app))
        await pilot.press("escape", "o")
        await until(pilot, lambda: isinstance(app.screen, PageScreen))
        await settle(pilot)
        agrees(words(app))
        await pilot.press("escape", "r")
        await until(pilot, lambda: isinstance(app.screen, RoundScreen))
        await settle(pilot)
        never(words(app))
        app.push_screen(EvidenceScreen(app.job.rounds[0].id, "intake"))
        await until(pilot, lambda: isinstance(app.screen, EvidenceScreen) and "9.8 dB" in words(app))
        await settle(pilot)
        never(words(app))
        await pilot.press("escape", "v")
        await until(pilot, lambda: isinstance(app.screen, VerdictScreen))
        await settle(pilot)
        agrees(words(app))
        await pilot.press("c")
        await type_text(pilot, "Ida Moor")
        await until(pilot, lambda: isinstance(app.screen, ConfirmScreen) and app.screen.phase == "hear")
        never(words(app))
        assert SAID not in words(app)
        await pilot.press("c", "2")
        await until(pilot, lambda: app.screen.phase == "tech")
        await pilot.press("n")
        await until(pilot, lambda: SAID in words(app))
        agrees(words(app))
