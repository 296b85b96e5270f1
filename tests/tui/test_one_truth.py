"""However supervisors came to decide: journal, signed words, engine, diagnosis, owner's page, verify say the same."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest
from bay import to_engine, type_text, until, words
from fakes import FakePlayer, FakeServices, result_for
from test_screens import judged_job

from listen.errors import AudioError
from listen.jobs.events import Judged, PersonChosen
from listen.jobs.exchange.verification import Against
from listen.jobs.exchange.verify import verify_job
from listen.jobs.folder.store import list_jobs, open_job
from listen.jobs.standing import Standing, standing_of
from listen.report.assemble import assemble
from listen.report.build import origin_now
from tui.app import HisswayApp
from tui.screens.confirm.screen import ConfirmScreen
from tui.screens.diagnosis.screen import DiagnosisScreen
from tui.screens.dialog import OneLineScreen, TickScreen
from tui.screens.engine.screen import EngineScreen

ROUND = "c1-a"
SEEN = "I have seen the numbers and heard no clips."
BLIND = "and called by ear before any number was shown to me"


class Deaf(FakePlayer):
    def play(self, clip, gain_db: float = 0.0) -> None:
        raise AudioError("no loudspeaker here")


class NoLoudspeaker(FakeServices):
    def player(self):
        return Deaf()


class Supervisor:
    """Hands at the keyboard of one machine on which a job waits."""

    def __init__(self, pilot: Any, folder: Path) -> None:
        self.pilot, self.app, self.folder = pilot, pilot.app, folder
        self.heard_at = ""

    @property
    def screen(self) -> ConfirmScreen:
        return next(s for s in self.app.screen_stack if isinstance(s, ConfirmScreen))

    def confirming(self) -> bool:
        return any(isinstance(s, ConfirmScreen) for s in self.app.screen_stack)

    async def reach(self, phase: str) -> None:
        await until(self.pilot, lambda: self.confirming() and self.screen.phase == phase)

    async def by_the_queue(self) -> None:
        await until(
            self.pilot, lambda: bool(self.app.screen.query("#jobs")) and self.app.screen.query_one("#jobs").display
        )
        await self.pilot.press("w")
        await until(
            self.pilot,
            lambda: bool(self.app.screen.query("#waiting")) and self.app.screen.query_one("#waiting").display,
        )
        await self.pilot.press("enter")
        await until(self.pilot, self.confirming)

    async def past_the_verdict(self) -> None:
        await to_engine(self.pilot)
        await self.pilot.press("c")

    async def sit(self, name: str) -> None:
        await self.reach("name")
        await type_text(self.pilot, name)
        await self.reach("hear")

    async def hear(self) -> None:
        first = self.screen.query_one("Pairs").pairs[0]
        self.heard_at, heard = first.id, first.heard
        await self.pilot.press("space")
        if not isinstance(self.app.services, NoLoudspeaker):
            await until(self.pilot, lambda: self.screen.query_one("Pairs").pairs[0].heard == heard + 1)

    async def call(self) -> None:
        await self.pilot.press("c")
        await self.reach("call")
        await self.pilot.press("2", "n")
        await self.reach("decide")

    async def overrule(self) -> None:
        await self.pilot.press("o")
        await until(self.pilot, lambda: isinstance(self.app.screen, TickScreen))
        await self.pilot.press("3", "enter")
        await until(self.pilot, lambda: isinstance(self.app.screen, OneLineScreen))
        await type_text(self.pilot, "Heard it in the filler")
        await self.reach("decided")

    async def send_back(self) -> None:
        """For another air clip at the point that was heard: pairs stand in a random order."""
        await self.pilot.press("b", {"intake": "1", "tailpipe": "2"}[self.heard_at], "1")
        await until(self.pilot, lambda: isinstance(self.app.screen, OneLineScreen))
        await type_text(self.pilot, "Once more")
        await self.reach("done")

    async def sign(self, name: str) -> None:
        await self.pilot.press("s")
        await type_text(self.pilot, name)
        await self.reach("done")

    async def leave(self) -> None:
        """Back to the list of jobs, whichever way one came."""
        await self.pilot.press("escape")
        await until(self.pilot, lambda: not self.confirming())
        await self.pilot.press("escape")
        await until(self.pilot, lambda: bool(self.app.screen.query("#jobs")))

    def the_tech_answers(self) -> None:
        """At the bench, meanwhile: the clip asked for, and another verdict."""
        with open_job(self.folder, actor="Ann Field") as bench:
            clip = bench.job.round(ROUND).live_clips(self.heard_at, "air")[0]
            bench.keep_file(bench.clip_path(clip.id), bench.new_part(ROUND, self.heard_at, "air", "air"))
            clips = tuple(c.id for c in bench.job.round(ROUND).live_clips())
            bench.append(Judged(round_id=ROUND, result=result_for(["intake", "tailpipe"]), clips=clips))


Way = Callable[[Supervisor], Awaitable[None]]


def alone(name: str, *, queue: bool = True) -> Way:
    async def way(hands: Supervisor) -> None:
        await (hands.by_the_queue() if queue else hands.past_the_verdict())
        await hands.sit(name)
        await hands.hear()
        await hands.call()
        await hands.overrule()
        await hands.sign(name)

    return way


async def after_a_send_back(hands: Supervisor) -> None:
    """What was asked for came; it is called anew and, with the numbers seen, not blind, heard or not."""
    await hands.by_the_queue()
    await hands.sit("Ida Moor")
    await hands.hear()
    await hands.call()
    await hands.send_back()
    assert hands.app.job.round(ROUND).decision.heard.blind
    await hands.leave()
    hands.the_tech_answers()
    await hands.by_the_queue()
    await hands.reach("hear")
    assert "You have seen numbers of this round" in words(hands.app) or "seen numbers" in words(hands.app)
    await hands.call()
    await hands.overrule()
    await hands.sign("Ida Moor")


async def two_supervisors(hands: Supervisor) -> None:
    """The first agrees, blind, and signs; the second, who has seen nothing, overrules and signs in her own name."""
    await hands.by_the_queue()
    await hands.sit("Cy Vale")
    await hands.hear()
    await hands.call()
    await hands.pilot.press("a")
    await hands.reach("decided")
    await hands.sign("Cy Vale")
    await hands.pilot.press("w")
    await hands.reach("name")
    await hands.pilot.press(*["backspace"] * len("Cy Vale"))
    await hands.sit("Ida Moor")
    await hands.hear()
    await hands.call()
    await hands.overrule()
    await hands.sign("Ida Moor")
    first = hands.app.job.round(ROUND).decisions[0]
    assert (first.payload.name, first.heard.blind, first.signatures[0].name) == ("Cy Vale", True, "Cy Vale")


@pytest.mark.parametrize(
    ("services", "way", "name", "told"),
    [
        pytest.param(FakeServices, alone("Ida Moor"), "Ida Moor", BLIND, id="with a loudspeaker"),
        pytest.param(NoLoudspeaker, alone("Ida Moor"), "Ida Moor", SEEN, id="without a loudspeaker"),
        pytest.param(
            FakeServices,
            alone("Ida Moor", queue=False),
            "Ida Moor",
            "With the numbers seen, I have heard air off and air on at 1 point, 1 time in all.",
            id="the numbers seen first",
        ),
        pytest.param(FakeServices, alone("Ann Field"), "Ann Field", "I recorded this round myself.", id="the tech"),
        pytest.param(FakeServices, after_a_send_back, "Ida Moor", SEEN, id="after a send-back"),
        pytest.param(
            FakeServices,
            two_supervisors,
            "Ida Moor",
            "With the numbers seen, I have heard air off and air on at 1 point, 1 time in all.",
            id="two supervisors",
        ),
    ],
)
async def test_one_truth(tmp_path: Path, services: type[FakeServices], way: Way, name: str, told: str) -> None:
    await judged_job(tmp_path)
    folder = tmp_path / "jobs" / list_jobs(tmp_path / "jobs")[0].folder
    with open_job(folder) as opened:
        opened.append(PersonChosen(role="tech", name="Ann Field"))
    app = HisswayApp(services=services(tmp_path))
    async with app.run_test(size=(100, 30)) as pilot:
        hands = Supervisor(pilot, folder)
        await way(hands)
        stands = standing_of(app.job, 1)
        assert stands is not None
        await hands.leave()
        await to_engine(pilot)
        await until(pilot, lambda: f"rings, says {name} ✓ signed" in words(app))
        assert "changed since" not in words(app)
        await pilot.press("d")
        await until(pilot, lambda: isinstance(app.screen, DiagnosisScreen))
        await until(pilot, lambda: f"decided by {name}" in words(app))
        weights = str(app.screen.query_one("#text").content)
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(app.screen, EngineScreen))
    told_by_the_journal(stands, folder, name, told)
    told_by_the_diagnosis(weights, name)
    with open_job(folder, write=False) as shown:
        owner = repr(assemble(shown, origin_now(shown))["owner"])
    assert name in owner and "the seal between piston and cylinder wall leaks" in owner
    assert "intake" not in owner.casefold().split("seal between piston")[0]
    found = verify_job(folder, Against(judge=lambda r: result_for(["intake", "tailpipe"], r.name)))
    assert found.mismatches == ()
    own = any("decides on a round they recorded themselves" in r for r in found.remarks)
    assert own is (name == "Ann Field")


def told_by_the_journal(stands: Standing, folder: Path, name: str, told: str) -> None:
    assert (stands.by, stands.how, stands.paths, stands.name) == ("person", "overruled", ("rings",), name)
    assert stands.program_then is not None and stands.program_then.paths == ("intake-valve",)
    assert stands.own_work is (name == "Ann Field") and not stands.changed and not stands.waits
    with open_job(folder, write=False) as shown:
        assert standing_of(shown.job, 1) == stands
    decision = shown.job.round(stands.round_id).decision
    assert decision is not None
    (signature,) = decision.signatures
    assert signature.name == name
    assert told in signature.statement and "I overrule the program's verdict: rings" in signature.statement
    assert decision.heard.blind is (BLIND in signature.statement)


def told_by_the_diagnosis(weights: str, name: str) -> None:
    """The person's path with the person's name; what the microphone says is never the person's path."""
    assert f"decided by {name}" in weights
    lines = [line for line in weights.splitlines() if "microphone" in line.casefold()]
    assert not any("rings" in line.split("microphone")[-1].split(";")[0] for line in lines), lines
