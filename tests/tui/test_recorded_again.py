"""A slip in one clip is mended from the verdict by two keys: that clip is taken back, and the round is there for it."""

from __future__ import annotations

from pathlib import Path

import msgspec
import numpy as np
import pytest
from bay import FOUR_POINTS, to_engine, until
from fakes import FakeServices, result_for

from listen.audio.write import write_clip
from listen.jobs.events import CautionAcknowledged, Judged, ReadingEntered, StepPassed, WayChosen
from listen.jobs.folder.store import create_job
from listen.jobs.walk import SET_UP
from listen.judge.result import Again
from listen.signal.clip import Clip
from tests.jobs.short import begin_round
from tui.app import HisswayApp
from tui.screens.round.screen import RoundScreen
from tui.screens.verdict.screen import VerdictScreen

POINTS = ("intake", "tailpipe")


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
