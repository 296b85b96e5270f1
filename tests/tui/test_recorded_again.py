"""A slip in one clip is mended from the verdict by two keys: that clip is taken back, and the round is there for it."""

from __future__ import annotations

from concurrent.futures import Future
from pathlib import Path

import msgspec
import numpy as np
import pytest
from bay import FOUR_POINTS, to_engine, type_text, until, words
from fakes import QUICK, FakeAnalyst, FakeServices, result_for

from listen.audio.write import write_clip
from listen.jobs.events import CautionAcknowledged, Judged, ReadingEntered, StepPassed, WayChosen
from listen.jobs.folder.store import create_job
from listen.jobs.walk import SET_UP
from listen.judge.result import Again
from listen.signal.clip import Clip
from listen.trade.engine import layout
from tests.jobs.short import begin_round
from tui.app import HisswayApp
from tui.bridge.preferences import save
from tui.screens.round.screen import RoundScreen
from tui.screens.round.words import idle
from tui.screens.verdict.screen import VerdictScreen, remarks

POINTS = ("intake", "tailpipe")


class Asks(FakeAnalyst):
    """Every verdict asks for the same."""

    def __init__(self, at: str, kind: str, seconds: float = 0.0) -> None:
        super().__init__()
        self.at, self.kind, self.seconds = at, kind, seconds

    def evaluate(self, round_) -> Future:
        result = super().evaluate(round_).result()
        verdict = msgspec.structs.replace(
            result.verdict, next_point=self.at, next_kind=self.kind, next_seconds=self.seconds
        )
        (future := Future()).set_result(msgspec.structs.replace(result, verdict=verdict))
        return future


async def _asked(pilot, app: HisswayApp, id: str) -> RoundScreen:
    """The round's screen, its verdict's own next step chosen there by ``n``."""
    await to_engine(pilot)
    app.push_screen(RoundScreen(id))
    await until(pilot, lambda: isinstance(app.screen, RoundScreen) and app.screen.step().kind == "done")
    round_ = app.screen
    await pilot.press("v", "n")
    return round_


@pytest.mark.parametrize("left_out", [False, True], ids=["walked", "the rest of its walk left out"])
async def test_the_clip_with_the_slip_is_taken_back_and_due(tmp_path: Path, left_out: bool) -> None:
    with create_job(tmp_path / "jobs", title="t", engine=FOUR_POINTS) as opened:
        id = begin_round(opened, 1)
        opened.append(WayChosen(way="walks"), CautionAcknowledged(caution=SET_UP, round_id=id))
        for name in ("supply", "loss"):
            opened.append(ReadingEntered(reading=name, value=20, unit="kPa", si=20, cylinder=1, round_id=id))
        for n, (walk, point) in enumerate((w, p) for w in ("quiet", "air", "closing") for p in POINTS):
            write_clip(
                file := tmp_path / f"{n}.flac", Clip.of(1e-2 * np.random.default_rng(n).normal(size=9600), 48_000)
            )
            opened.keep_file(file, opened.new_part(id, point, "air" if walk == "air" else "quiet", walk))
        if left_out:
            opened.append(StepPassed(round_id=id, step="quiet", reason="walk left out"))
        result = result_for(list(POINTS))
        slip = msgspec.structs.replace(result.verdict, kind="unclear", again=(Again("tailpipe", "quiet", 2),))
        clips = tuple(c.id for c in opened.job.round(id).live_clips())
        opened.append(Judged(round_id=id, result=msgspec.structs.replace(result, verdict=slip), clips=clips))
        wrong = opened.job.round(id).live_clips("tailpipe", "closing")[0].id
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        app.push_screen(RoundScreen(id))
        await until(pilot, lambda: isinstance(app.screen, RoundScreen))
        round_ = app.screen
        round_.action_verdict()
        await until(pilot, lambda: isinstance(app.screen, VerdictScreen))
        await pilot.press("n", "n")
        assert isinstance(app.screen, VerdictScreen) and len(app.job.round(id).live_clips()) == 6, "a no leaves all"
        await pilot.press("n", "y")
        await until(pilot, lambda: app.screen is round_)
        assert [c.id for c in app.job.round(id).clips if c.taken_back] == [wrong]
        assert (round_.step().point, round_.step().walk) == ("tailpipe", "closing")


def _walked(tmp_path: Path) -> str:
    """A job with one walked round of two points; gives the round's id."""
    with create_job(tmp_path / "jobs", title="t", engine=FOUR_POINTS) as opened:
        id = begin_round(opened, 1)
        opened.append(WayChosen(way="walks"), CautionAcknowledged(caution=SET_UP, round_id=id))
        opened.append(
            *(StepPassed(round_id=id, step=s, reason="no time") for s in ("supply", "loss", "bubbles", "call"))
        )
        for n, (walk, point) in enumerate((w, p) for w in ("quiet", "air", "closing") for p in POINTS):
            write_clip(
                file := tmp_path / f"{n}.flac", Clip.of(1e-2 * np.random.default_rng(n).normal(size=9600), 48_000)
            )
            opened.keep_file(file, opened.new_part(id, point, "air" if walk == "air" else "quiet", walk))
        opened.append(*(StepPassed(round_id=id, step=w, reason="walk left out") for w in ("quiet", "air", "closing")))
    return id


@pytest.mark.parametrize(
    ("at", "kind", "said"),
    [
        ("intake", "shut", "Supply on, cylinder side shut off: only hose and tester may hiss. Clip at the intake."),
        ("intake", "sound", "Air on a sound cylinder of this engine, at its top dead centre, full pressure."),
        ("", "loss", "Cylinder 1 to top dead centre on compression, bar off, air on slowly: read the loss."),
        ("radiator", "bubbles", "Did bubbles rise in the radiator neck while the air was on?"),
    ],
)
async def test_what_the_verdict_asks_for_is_one_key_away_and_judged(
    tmp_path: Path, at: str, kind: str, said: str
) -> None:
    id = _walked(tmp_path)
    app = HisswayApp(services=FakeServices(tmp_path, analyst=Asks(at, kind)))
    async with app.run_test(size=(80, 24)) as pilot:
        round_ = await _asked(pilot, app, id)
        await until(pilot, lambda: app.screen is round_)
        assert round_.step().sentence.startswith(said)
        before = app.job.round(id).verdict
        if kind == "loss":
            await type_text(pilot, "27")
        else:
            await pilot.press("y" if kind == "bubbles" else "space")
        await until(pilot, lambda: round_.step().kind == "done" and app.job.round(id).verdict is not before)
        record = app.job.round(id)
        if kind == "sound":
            four = msgspec.structs.replace(app.job, engine=layout("inline-4"))
            told = f"{remarks(four, record)} {idle(four, record, round_.step(), round_.now, app.preferences)}"
            assert told.count("recorded for it at a sound cylinder") == 2 and "No sound cylinder" not in told
        given = {"loss": app.job.reading("loss", round_id=id), "bubbles": record.bubbles}
        assert given[kind] if kind in given else record.live_clips(at)[-1].kept.clip_kind == kind


async def test_an_older_versions_longer_clips_are_as_long_as_its_sentence_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It asked for quiet, air, quiet, 16 s each (here 1.4 s, as a usual clip has 1 s): that is said and taken."""
    monkeypatch.setattr("listen.jobs.walk.LONGER_S", 1.0)
    id, services = _walked(tmp_path), FakeServices(tmp_path, analyst=Asks("tailpipe", "air", 1.4))
    save(services.preferences_path(), QUICK)
    app = HisswayApp(services=services)
    async with app.run_test(size=(80, 24)) as pilot:
        round_ = await _asked(pilot, app, id)
        await until(pilot, lambda: app.screen is round_ and "Space records 1.4 s" in words(app))
        for n in range(1, 4):
            await pilot.press("space")
            await until(pilot, lambda n=n: len(app.job.round(id).live_clips()) == 6 + n and not round_.now.busy)
        taken = [c.kept for c in app.job.round(id).live_clips()[-3:]]
    assert [(k.point, k.walk, round(k.seconds, 1)) for k in taken] == [
        ("tailpipe", walk, 1.4) for walk in ("quiet", "air", "closing")
    ]
