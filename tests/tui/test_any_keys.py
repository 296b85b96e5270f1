"""Random keys on random jobs: no silent exit, no lost clip, no step out of reach, and the screen says what is written.

``HISSWAY_KEYS=5000 pytest tests/tui/test_any_keys.py`` presses more than the few hundred of every run.
"""

from __future__ import annotations

import os
import random
from pathlib import Path

import msgspec
import pytest
from bay import FOUR_POINTS, screen_text
from fakes import QUICK, FakeAnalyst, FakeServices, FakeSource

from listen.jobs import events as ev
from listen.jobs.folder.store import create_job, open_job
from listen.jobs.ledger import cylinder_ledger
from listen.jobs.walk import walked
from listen.trade.layout import layout
from tests.jobs.short import begin_round
from tui.app import HisswayApp
from tui.bridge.preferences import save
from tui.screens.jobs.screen import JobsScreen
from tui.screens.round.screen import RoundScreen
from tui.screens.round.view import view

KEYS = int(os.environ.get("HISSWAY_KEYS", "120"))
ALPHABET = (
    *["space"] * 12,
    *["enter"] * 5,
    *["escape"] * 3,
    *("backspace", "up", "down", "left", "right", "tab", "pagedown", "question_mark"),
    *"rRoypfjcdvestnuxkwlhmabgi0123456789.",
)
ENGINES = (FOUR_POINTS, layout("inline-4"), layout("v6"))


def any_job(rng: random.Random, root: Path) -> None:
    """A job as it may be met: nothing yet, in the middle, or judged and signed."""
    with create_job(root, title="Any", engine=rng.choice(ENGINES)) as opened:
        if rng.random() < 0.3:
            return
        round_id = begin_round(opened, 1)
        if rng.random() < 0.6:
            opened.append(ev.CautionAcknowledged(caution="set-up", round_id=round_id))
            opened.append(ev.StepPassed(round_id=round_id, step="supply", reason="no gauge"))
        if rng.random() < 0.4:
            opened.append(ev.StepPassed(round_id=round_id, step="loss", reason="no gauge"))
            opened.append(ev.PointSkipped(round_id=round_id, point="intake", walk="quiet", reason="no time"))
        if rng.random() < 0.3:
            opened.append(ev.Signed(round_id=round_id, name="Bo", role="supervisor", statement="", head=opened.head))


def check(app: HisswayApp, clips: set[str]) -> set[str]:
    """What must hold after every key; gives the clips there are."""
    assert app._exception is None and not app.fault and app.is_running
    opened = app.open_job
    if opened is None or app.job is None:
        return clips
    with open_job(opened.folder, write=False) as read:
        written = read.job
        now = {c.id for r in written.rounds for c in r.clips}
        assert clips <= now, "a clip that was kept is gone from the journal"
        assert all(opened.clip_path(c).is_file() for c in now), "a clip of the journal is not on disk"
        if isinstance(app.screen, RoundScreen) and not app.screen.now.busy:
            assert msgspec.json.encode(app.job) == msgspec.json.encode(written), "the screen shows another job"
            screen, gauge = app.screen, ""
            made = view(written, screen.round_id, screen.now, app.preferences, screen.size.height, gauge)
            assert made.say == screen.view.say and made.step == screen.view.step
        for cylinder in {r.cylinder for r in written.rounds}:
            lines = [x for part in cylinder_ledger(read.chain.events(), written, cylinder) for x in part.lines]
            for record in written.rounds_of(cylinder):
                left = [s for s in walked(written, record.id).steps if s.state == "left-out"]
                back = [x for x in lines if x.round_id == record.id and x.state == "left-out" and x.may_be_taken_back]
                assert not left or back, "a step was left out that no line takes up again"
    return now


@pytest.mark.parametrize("seed", range(3))
async def test_any_keys_lose_nothing(tmp_path: Path, seed: int) -> None:
    rng = random.Random(seed)
    any_job(rng, tmp_path / "jobs")
    source = FakeSource([rng.choice(("ok", "ok", "ok", "lost", "full")) for _ in range(30)])
    services = FakeServices(tmp_path, source, FakeAnalyst(refuse={2, 5}))
    save(services.preferences_path(), QUICK)
    app, clips = HisswayApp(services=services), set[str]()
    pressed: list[str] = []
    async with app.run_test(size=rng.choice([(80, 24), (100, 30), (160, 45)])) as pilot:
        for _ in range(KEYS):
            key = "enter" if isinstance(app.screen, JobsScreen) else rng.choice(ALPHABET)
            pressed.append(key)
            await pilot.press(key)
            try:
                clips = check(app, clips)
            except BaseException as e:
                raise AssertionError(f"seed {seed}, after {pressed[-12:]}: {e}\n{screen_text(app)}") from e
    assert len(pressed) == KEYS
