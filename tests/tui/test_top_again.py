"""`n` on a verdict that asks for top dead centre again takes the answer: judged at once, or the walk taken anew."""

from __future__ import annotations

from concurrent.futures import Future
from pathlib import Path

import numpy as np
import pytest
from bay import to_engine, type_text, until, words
from fakes import FakeAnalyst, FakeServices, settled
from msgspec.structs import replace
from textual.pilot import Pilot

from listen.audio.write import write_clip
from listen.jobs.events import CautionAcknowledged, PointSkipped, ReadingEntered, StepPassed, TopFoundAgain, WayChosen
from listen.jobs.folder.store import create_job
from listen.jobs.walk import SET_UP
from listen.signal.clip import Clip
from listen.trade.engine import layout
from tests.jobs.short import begin_round
from tui.app import HisswayApp
from tui.screens.dialog import OneLineScreen, PickScreen
from tui.screens.round.screen import RoundScreen
from tui.screens.verdict.screen import VerdictScreen


class Asks(FakeAnalyst):
    """Every verdict asks for it until it is done; the facts it was given are remembered."""

    given: tuple[bool | None, ...] = ()

    def evaluate(self, round_) -> Future:
        result = super().evaluate(round_).result()
        again = round_.facts.top_found_again
        self.given = (*self.given, again)
        if not again:
            ask = {"kind": "unclear", "next": "Find it again.", "next_point": "", "next_kind": "top-found-again"}
            result = replace(result, verdict=replace(result.verdict, **ask))
        return settled(result)


POINTS = ("intake", "tailpipe", "oil-filler")


def walked(tmp_path: Path) -> str:
    """A job with a walked round of 97 % loss; gives the round's id."""
    with create_job(tmp_path / "jobs", title="t", engine=layout("single")) as opened:
        id = begin_round(opened, 1)
        read = {"cylinder": 1, "round_id": id}
        opened.append(
            WayChosen(way="walks"),
            CautionAcknowledged(caution=SET_UP, round_id=id),
            ReadingEntered(reading="supply", value=550, unit="kPa", si=550, **read),
            ReadingEntered(reading="loss", value=97, unit="percent", si=97, **read),
            *(StepPassed(round_id=id, step=s, reason="no time") for s in ("call", "closing", "bubbles")),
            PointSkipped(round_id=id, point="radiator", reason="cap hot"),
        )
        for n, (walk, point) in enumerate(
            (w, p) for w in ("quiet", "air") for p in ("intake", "tailpipe", "oil-filler")
        ):
            noise = Clip.of(1e-2 * np.random.default_rng(n).normal(size=9600), 48_000)
            write_clip(file := tmp_path / f"{n}.flac", noise)
            opened.keep_file(file, opened.new_part(id, point, walk, walk))
    return id


async def asked(pilot: Pilot, app: HisswayApp, id: str) -> RoundScreen:
    """The round was judged, and its verdict asks."""
    await to_engine(pilot)
    app.push_screen(RoundScreen(id))
    await until(pilot, lambda: isinstance(app.screen, RoundScreen) and app.screen.step().kind == "done")
    round_ = app.screen
    await pilot.press("v")
    await until(pilot, lambda: isinstance(app.screen, VerdictScreen))
    await pilot.press("n")
    await until(pilot, lambda: isinstance(app.screen, OneLineScreen))
    assert "Bar and ratchet OFF" in words(app) and "what is the loss now" in words(app)
    return round_


async def test_a_loss_that_stays_is_judged_with_at_once_and_not_asked_for_again(tmp_path: Path) -> None:
    id, app = walked(tmp_path), HisswayApp(services=FakeServices(tmp_path, analyst=(analyst := Asks())))
    async with app.run_test(size=(80, 24)) as pilot:
        round_ = await asked(pilot, app, id)
        await type_text(pilot, "96")
        await until(pilot, lambda: app.screen is round_ and analyst.given == (None, True) and not round_.now.judging)
        record = app.job.round(id)
        assert record.loss_again == 96.0 and len(record.judged) == 2 and len(record.live_clips()) == 6
        assert [type(e.payload) for e in app.open_job.chain.events()].count(TopFoundAgain) == 1
        await pilot.press("v")
        await until(pilot, lambda: isinstance(app.screen, VerdictScreen))
        await pilot.press("n")
        await until(pilot, lambda: app.screen is round_)
        assert round_.step().point == "tailpipe", "what is asked for now is a recording"


@pytest.mark.parametrize("sure", [True, False])
async def test_another_loss_is_asked_about_and_then_all_clips_are_due_again(tmp_path: Path, sure: bool) -> None:
    id, app = walked(tmp_path), HisswayApp(services=FakeServices(tmp_path, analyst=Asks()))
    async with app.run_test(size=(80, 24)) as pilot:
        round_ = await asked(pilot, app, id)
        await type_text(pilot, "12")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))
        assert "12 %" in words(app) and "97 %" in words(app) and "taken again" in words(app)
        await pilot.press("y" if sure else "n")
        if not sure:
            await until(pilot, lambda: isinstance(app.screen, VerdictScreen))
            assert len(app.job.round(id).live_clips()) == 6 and app.job.reading("loss", round_id=id).si == 97
            return
        await until(pilot, lambda: app.screen is round_)
        assert app.job.reading("loss", round_id=id).si == 12 and not app.job.round(id).live_clips()
        assert (round_.step().point, round_.step().walk) == ("intake", "quiet")
        assert "take all clips anew" in words(app)
