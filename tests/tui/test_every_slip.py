"""A tech who makes every slip, at every step of a round and beside it, gets back by keys to the state before it."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from bay import FOUR_POINTS, bench, clip, read_cautions, settle, to_round, type_text, until, walk
from textual.pilot import Pilot
from textual.widgets import OptionList

from listen.jobs.standing import latest_round
from listen.jobs.walk import walked
from tests.jobs.short import note_texts
from tui.app import HisswayApp
from tui.screens.cautions import CautionScreen
from tui.screens.dialog import OneLineScreen, PickScreen
from tui.screens.engine.screen import EngineScreen
from tui.screens.page.screen import PageScreen
from tui.screens.round.screen import RoundScreen

Act = Callable[[], Awaitable[object]]
READINGS = ("supply", "restrictor", "loss", "compression-dry", "compression-wet")


def state(app: HisswayApp) -> dict[str, Any]:
    """What counts of the job: not how it came about."""
    job = app.job
    assert job is not None
    record = latest_round(job, 1)
    due = walked(job, record.id).due
    call = record.call()
    return {
        "rounds": [r.id for r in job.rounds_of(1) if not r.aside],
        "due": (due.id, due.point),
        "clips": [c.id for c in record.live_clips()],
        "skips": [(s.point, s.walk) for s in record.skips],
        "left out": dict(record.steps_left_out),
        "call": call and (call.paths, call.declined),
        "bubbles": record.bubbles,
        "judged": record.verdict is not None and not record.stale,
        "readings": {name: r.si for name in READINGS if (r := job.reading(name, 1))},
        "plug": (p := job.plugs.get(1)) and p.conditions,
        "found": (f := job.findings.get(1)) and f.paths,
        "notes": note_texts(job),
    }


class Tech:
    """Presses keys only."""

    def __init__(self, pilot: Pilot, app: HisswayApp) -> None:
        self.pilot, self.app = pilot, app
        self.slips: list[str] = []

    async def press(self, *keys: str) -> None:
        await self.pilot.press(*keys)
        await settle(self.pilot)

    async def to_engine(self) -> None:
        while not isinstance(self.app.screen, EngineScreen):
            await self.press("escape")

    async def to_round(self) -> RoundScreen:
        await self.to_engine()
        await self.press("r")
        await until(self.pilot, lambda: isinstance(self.app.screen, RoundScreen))
        screen = self.app.screen
        assert isinstance(screen, RoundScreen)
        await until(self.pilot, lambda: screen.listener.reading is not None)
        return screen

    async def on_the_page(self, line: str, *, again: bool = False) -> None:
        """Take a line of the cylinder's page back (or ``again`` into use); what is asked is answered with yes."""
        await self.to_engine()
        await self.press("o")
        await until(self.pilot, lambda: isinstance(self.app.screen, PageScreen) and bool(self.app.screen.lines))
        page = self.app.screen
        assert isinstance(page, PageScreen)
        options = page.query_one(OptionList)
        for i in range(options.option_count):  # where the arrow keys lead, too
            here = page.lines.get(options.get_option_at_index(i).id or "")
            if here is not None and line in here.words and (here.may_come_back if again else here.may_be_taken_back):
                break
        else:
            raise AssertionError(f"no line that says {line!r}: {[x.words for x in page.lines.values()]}")
        options.highlighted = i
        await settle(self.pilot)
        await self.press("backspace")
        if isinstance(self.app.screen, PickScreen):
            await self.press("enter")
        elif isinstance(self.app.screen, OneLineScreen):
            await self.press(*"slip", "enter")

    async def slip(
        self, what: str, make: Callable[[], Awaitable[object]], mend: Callable[[], Awaitable[object]]
    ) -> None:
        """Make it, see that it made a difference, mend it, and be where one was."""
        before = state(self.app)
        await make()
        await settle(self.pilot)
        assert state(self.app) != before, what
        await mend()
        for _ in range(100):
            if (after := state(self.app)) == before:
                break
            await settle(self.pilot)
        assert after == before, what
        self.slips.append(what)


async def test_every_slip_at_every_step_of_a_round_is_mended(tmp_path: Path) -> None:
    app = bench(tmp_path, engine=FOUR_POINTS)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_round(pilot)
        await read_cautions(pilot, screen)
        tech = Tech(pilot, app)

        async def typed(*texts: str) -> None:
            for text in texts:
                await type_text(pilot, text)
                await settle(pilot)

        async def wrong_supply() -> None:
            await typed("5500")
            await tech.press("k", "enter")

        await tech.slip("supply", wrong_supply, lambda: tech.on_the_page("supply"))
        screen = await tech.to_round()
        await tech.slip(
            "supply left out", lambda: tech.press("ctrl+s", "4"), lambda: tech.on_the_page("supply left out")
        )
        screen = await tech.to_round()
        await typed("550", "1.0")
        await until(pilot, lambda: screen.step().id == "loss")
        await tech.slip("loss", lambda: typed("72"), lambda: tech.on_the_page("loss 72 %"))
        screen = await tech.to_round()
        await typed("27")
        await until(pilot, lambda: screen.step().walk == "quiet")

        for name in ("quiet", "air", "closing"):
            point = screen.step().point
            await tech.slip(
                f"{name}: a point left out",
                lambda: tech.press("s", "4"),
                lambda p=point: tech.on_the_page(f"{p} left out"),
            )
            screen = await tech.to_round()
            await tech.slip(
                f"{name}: the walk left out",
                lambda: tech.press("s", "w"),
                lambda n=name: tech.on_the_page("the rest of the " + ("closing quiet" if n == "closing" else n)),
            )
            screen = await tech.to_round()
            await tech.slip(
                f"{name}: a clip too early", lambda s=screen: clip(pilot, s), lambda: tech.press("backspace")
            )

            async def elsewhere(s: RoundScreen = screen) -> None:
                await tech.press("down")
                await clip(pilot, s)

            await tech.slip(f"{name}: the wrong point", elsewhere, lambda: tech.press("backspace"))
            await walk(pilot, screen)
            if name == "quiet":
                await tech.slip("call", lambda: tech.press("2"), lambda: tech.on_the_page("exhaust valve"))
                screen = await tech.to_round()
                await tech.slip("call declined", lambda: tech.press("d"), lambda: tech.on_the_page("declined to call"))
                screen = await tech.to_round()
                await tech.press("1")
                await until(pilot, lambda s=screen: s.step().walk == "air")

        await tech.slip("bubbles", lambda: tech.press("y"), lambda: tech.on_the_page("bubbles rose"))
        screen = await tech.to_round()
        await tech.press("n")
        await until(pilot, lambda: screen.record.verdict is not None and screen.step().kind == "done")

        async def lost() -> None:
            await tech.press("backspace", "y")

        await tech.slip("a clip of a judged round", lost, lambda: tech.on_the_page("radiator, air off", again=True))

        async def another_round() -> None:
            await tech.to_engine()
            await tech.press("R", "enter")
            await until(pilot, lambda: len(app.job.rounds) == 2)

        async def aside() -> None:
            await tech.to_engine()
            await tech.press("o", "s")

        await tech.slip("R for r", another_round, aside)
        await tech.to_engine()

        async def plug() -> None:
            await tech.press("p")
            while isinstance(app.screen, CautionScreen):
                await tech.press("space")
            await tech.press("down", "enter")
            if isinstance(app.screen, PickScreen):
                await tech.press("enter")

        async def dry() -> None:
            await tech.to_engine()
            app.screen.query_one("#table").move_cursor(row=0, column=1)
            await tech.press("9", "0", "0", "enter")
            if isinstance(app.screen, PickScreen):
                await tech.press("enter")

        async def found() -> None:
            await tech.to_engine()
            await tech.press("f", "2", "enter")
            if isinstance(app.screen, PickScreen):
                await tech.press("enter")

        async def note() -> None:
            await tech.to_engine()
            await tech.press("n", *"oops", "enter")

        await tech.slip("plug", plug, lambda: tech.on_the_page("plug"))
        await tech.slip("dry compression", dry, lambda: tech.on_the_page("900"))
        await tech.slip("teardown", found, lambda: tech.on_the_page("exhaust valve"))
        await tech.slip("note", note, lambda: tech.on_the_page("oops"))
        assert len(tech.slips) == 24, tech.slips
        assert app._exception is None and not app.fault
