"""However a supervisor came to overrule: journal, signed words, engine screen, owner's page, verify say the same."""

from __future__ import annotations

from pathlib import Path

import pytest
from bay import to_engine, type_text, until, words
from fakes import FakePlayer, FakeServices
from test_screens import judged_job

from listen.errors import AudioError
from listen.jobs.events import PersonChosen
from listen.jobs.exchange.verify import verify_job
from listen.jobs.folder.store import list_jobs, open_job
from listen.jobs.standing import standing_of
from listen.report.assemble import assemble
from tui.app import HisswayApp
from tui.screens.confirm.screen import ConfirmScreen
from tui.screens.engine.screen import EngineScreen
from tui.screens.ticks import TickScreen


class Deaf(FakePlayer):
    def play(self, clip, gain_db: float = 0.0) -> None:
        raise AudioError("no loudspeaker here")


class NoLoudspeaker(FakeServices):
    def player(self):
        return Deaf()


@pytest.mark.parametrize(
    ("services", "queue", "name", "blind", "told"),
    [
        (FakeServices, True, "Ida Moor", True, "called by ear before any number was shown to me"),
        (NoLoudspeaker, True, "Ida Moor", False, "I have seen the numbers and heard no clips."),
        (FakeServices, False, "Ida Moor", False, "With the numbers seen, I have heard air off and air on at 1 point"),
        (FakeServices, True, "Ann Field", True, "I recorded this round myself."),
    ],
)
async def test_one_truth(tmp_path: Path, services, queue: bool, name: str, blind: bool, told: str) -> None:
    round_id = await judged_job(tmp_path)
    folder = tmp_path / "jobs" / list_jobs(tmp_path / "jobs")[0].folder
    with open_job(folder) as opened:
        opened.append(PersonChosen(role="tech", name="Ann Field"))
    app = HisswayApp(services=services(tmp_path))
    async with app.run_test(size=(100, 30)) as pilot:
        if queue:
            await until(pilot, lambda: bool(app.screen.query("#jobs")) and app.screen.query_one("#jobs").display)
            await pilot.press("w")
            await until(pilot, lambda: bool(app.screen.query("#waiting")) and app.screen.query_one("#waiting").display)
            await pilot.press("enter")
        else:
            await to_engine(pilot)
            await pilot.press("c")
        await until(pilot, lambda: isinstance(app.screen, ConfirmScreen))
        screen = app.screen
        await type_text(pilot, name)
        await until(pilot, lambda: screen.phase == "hear")
        await pilot.press("space")
        if services is FakeServices:
            await until(pilot, lambda: screen.query_one("Pairs").pairs[0].heard == 1)
        await pilot.press("c", "2", "n")
        await until(pilot, lambda: screen.phase == "decide")
        await pilot.press("o")
        await until(pilot, lambda: isinstance(app.screen, TickScreen))
        await pilot.press("3", "enter")
        await until(pilot, lambda: screen.phase == "overrule-reason")
        await type_text(pilot, "Heard it in the filler")
        await until(pilot, lambda: screen.phase == "decided")
        await pilot.press("s")
        await type_text(pilot, name)
        await until(pilot, lambda: screen.phase == "done")
        stands = standing_of(app.job, 1)
        said = app.job.round(round_id).signatures[0].statement
        assert (stands.by, stands.how, stands.paths, stands.name) == ("person", "overruled", ("rings",), name)
        assert stands.heard.blind is blind and stands.program.paths == ("intake-valve",) and stands.differs
        assert told in said and "I overrule the program's verdict" in said
        assert stands.own_work is (name == "Ann Field")
        await pilot.press("escape")
        if queue:
            await until(pilot, lambda: app.open_job is None)
            await pilot.press("escape")
            await to_engine(pilot)
        await until(pilot, lambda: isinstance(app.screen, EngineScreen))
        await until(pilot, lambda: f"rings, says {name} ✓ signed" in words(app))
    owner = repr(assemble(open_job(folder, write=False)).owner)
    assert name in owner and "the seal between piston and cylinder wall leaks" in owner
    found = verify_job(folder, results=False)
    assert not [m for m in found.mismatches if m.what in ("decision", "signature", "journal", "history")]
