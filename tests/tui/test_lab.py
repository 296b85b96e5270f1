"""The lab's screens, and two jobs side by side: a drill left and gone on with, with and without a loudspeaker."""

from __future__ import annotations

from pathlib import Path

import pytest
from bay import screen_text, settle, type_text, until, words
from fakes import FakePlayer, FakeServices
from textual.widgets import Input

from listen.errors import NoPortAudio
from listen.jobs.events import ReadingEntered
from listen.jobs.folder.store import create_job
from listen.lab.learners import create_learner, list_learners
from listen.lab.training.session import answers_of
from listen.trade.engine import layout
from tui.app import HisswayApp
from tui.screens.compare.screen import CompareScreen
from tui.screens.dialog import PickScreen
from tui.screens.jobs.screen import JobsScreen
from tui.screens.lab.drill import DrillScreen
from tui.screens.lab.screen import LabScreen
from tui.screens.lab.which import HeadphoneScreen, ThresholdScreen


class LabServices(FakeServices):
    def lab_root(self) -> Path:
        return self._root / "lab"


class Mute(FakePlayer):
    def play(self, clip, gain_db: float = 0.0) -> None:
        raise NoPortAudio("no PortAudio library here; on Debian and Ubuntu install libportaudio2")


async def to_lab(pilot, app: HisswayApp) -> LabScreen:
    await until(pilot, lambda: isinstance(app.screen, JobsScreen))
    await pilot.press("l")
    await until(pilot, lambda: isinstance(app.screen, LabScreen) and "..." not in screen_text(app))
    return app.screen


async def take_in(pilot, app: HisswayApp, name: str) -> None:
    await pilot.press("w", "enter")
    await until(pilot, lambda: isinstance(app.focused, Input))
    await type_text(pilot, name)
    await until(pilot, lambda: isinstance(app.screen, LabScreen) and app.screen.learner is not None)
    await settle(pilot)


async def drilling(pilot, app: HisswayApp, set_: str = "First leaks") -> DrillScreen:
    """Down the list to a set that is kept; the first line is fresh rounds."""
    await pilot.press("d")
    await until(pilot, lambda: isinstance(app.screen, PickScreen) and set_ in screen_text(app))
    await pilot.press("down", "enter")
    return await ready(pilot, app)


async def ready(pilot, app: HisswayApp) -> DrillScreen:
    await until(pilot, lambda: isinstance(app.screen, DrillScreen) and app.screen.phase in ("hear", "again"), 40)
    return app.screen


async def call(pilot, screen: DrillScreen, path: str, sure: str) -> None:
    """By ear, then with the readings the same."""
    await pilot.press("c", path)
    if path != "u":
        await pilot.press(sure)
    await until(pilot, lambda: screen.phase == "again")
    await pilot.press("k")
    await until(pilot, lambda: screen.phase == "truth")


async def test_a_drill_is_left_and_gone_on_with(tmp_path: Path) -> None:
    """Each call is on disk before more is told; readings after the call by ear, the truth after both."""
    app = HisswayApp(services=LabServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_lab(pilot, app)
        assert "Nobody learns here yet" in screen_text(app)
        await take_in(pilot, app, "Una")
        screen = await drilling(pilot, app)
        assert "It was" not in screen_text(app) and "Loss " not in words(app).replace("Loss and bubbles are told", "")
        await pilot.press("space")
        await until(pilot, lambda: screen.query_one("Pairs").pairs[0].heard == 1)
        await pilot.press("c")
        await until(pilot, lambda: "hiss at the oil filler, more than normal" in words(app))
        await pilot.press("1", "3")
        await until(pilot, lambda: screen.phase == "again")
        assert "%. " in words(app) and "ubbles were seen" in words(app) and "You said: intake valve" in words(app)
        await pilot.press("8", "2")
        await until(pilot, lambda: screen.phase == "truth")
        assert "It was:" in words(app) and "by ear" in words(app)
        await until(pilot, lambda: screen.query_one("Ladder").display)
        (learner,) = list_learners(tmp_path / "lab")
        (answer,) = answers_of(tmp_path / "lab", learner)
        assert (answer.sure, answer.paths, answer.then) == (0.8, ("intake-valve",), ("none",))
        await pilot.press("n")
        await ready(pilot, app)
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(app.screen, LabScreen))
        await settle(pilot)
        screen = await drilling(pilot, app)
        assert screen.session.number == 2
        for _ in range(screen.session.opened.total - 1):
            await call(pilot, screen, "u", "")
            await pilot.press("n")
            await until(pilot, lambda: screen.phase in ("hear", "over"))
        await until(pilot, lambda: screen.phase == "over" and "This sitting is done" in words(app))


async def test_after_the_truth_the_clips_are_heard_without_their_hiss_and_seen(tmp_path: Path) -> None:
    """Fresh rounds begin with Space; two at once can be called; b, s and g belong to the truth."""
    services = LabServices(tmp_path)
    app = HisswayApp(services=services)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_lab(pilot, app)
        await take_in(pilot, app, "Una")
        await until(pilot, lambda: "Next: Fresh rounds" in words(app))
        await pilot.press("space")
        screen = await ready(pilot, app)
        await pilot.press("b", "s")
        assert "without" not in screen_text(app).split("▌")[-1] and screen.phase == "hear"
        await pilot.press("c", "m")
        await until(pilot, lambda: "Which two?" in screen_text(app))
        await pilot.press("1", "3", "enter")
        await until(pilot, lambda: screen.phase == "sure")
        await pilot.press("4")
        await until(pilot, lambda: screen.phase == "again" and "intake valve and rings" in words(app))
        await pilot.press("k")
        await until(pilot, lambda: screen.phase == "truth")
        (learner,) = list_learners(tmp_path / "lab")
        (answer,) = answers_of(tmp_path / "lab", learner)
        assert answer.paths == ("intake-valve", "rings") and answer.seed is not None and answer.then is None
        await pilot.press("b", "space")
        await until(pilot, lambda: screen.query_one("Pairs").pairs[0].heard == 1)
        assert "without its hiss" in screen_text(app)
        await pilot.press("s")
        await until(pilot, lambda: screen.query_one("SpectraPlot").display and "kHz" in screen_text(app))
        await pilot.press("g")
        await until(pilot, lambda: screen.query_one("Heat").picture is not None, 40)
        await pilot.press("n")
        assert (await ready(pilot, app)).session.number == 2


async def test_a_drill_asked_for_before_anybody_learns_is_come_to_once_a_name_is_typed(tmp_path: Path) -> None:
    app = HisswayApp(services=LabServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_lab(pilot, app)
        await pilot.press("d")
        await until(pilot, lambda: isinstance(app.focused, Input))
        await type_text(pilot, "Una")
        await until(pilot, lambda: isinstance(app.screen, PickScreen) and "First leaks" in screen_text(app))


async def test_the_lab_names_who_learns_and_not_who_sits_at_the_bay(tmp_path: Path) -> None:
    app = HisswayApp(services=LabServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        app.sit("Vera Kolm", "supervisor")
        await to_lab(pilot, app)
        await take_in(pilot, app, "Una")
        for screen in (app.screen, await drilling(pilot, app)):
            top = screen.query_one("TopBar")
            assert "Una" in top.way and top.remark == ""


async def test_without_a_loudspeaker_a_drill_goes_on_by_picture(tmp_path: Path) -> None:
    services = LabServices(tmp_path)
    services.fake_player = Mute()
    app = HisswayApp(services=services)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_lab(pilot, app)
        await take_in(pilot, app, "Una")
        screen = await drilling(pilot, app)
        await pilot.press("space")
        await until(pilot, lambda: "libportaudio2" in words(app))
        assert "by picture" in words(app)
        await pilot.press("g")
        await until(pilot, lambda: screen.query_one("Heat").picture is not None, 40)
        await until(pilot, lambda: "left: quiet" in screen_text(app) and "▀" in screen_text(app))


async def test_the_class_of_ten_stands_on_one_screen_and_is_written_as_csv(tmp_path: Path) -> None:
    """One line each within 80 by 24, and c writes the same for a spreadsheet."""
    for n in range(10):
        create_learner(tmp_path / "lab", f"Learner {n}")
    app = HisswayApp(services=LabServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_lab(pilot, app)
        await pilot.press("i")
        await until(pilot, lambda: all(f"Learner {n}" in screen_text(app) for n in range(10)))
        assert "sureness" in screen_text(app)
        await pilot.resize_terminal(50, 24)
        await until(pilot, lambda: "sureness" not in screen_text(app))
        lines = [line.strip() for line in screen_text(app).splitlines()]
        assert [x for x in lines if x.startswith("learner")] == ["learner        right of named  last day"]
        assert sum(x.startswith("Learner") and x.endswith("–") for x in lines) == 10, "a learner is on one line"


async def test_a_threshold_run_asks_until_it_knows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Right above -12 dB and wrong below: the figure found says so, and stands beside the meter's."""
    # Of other seeds one in eight hammers so that the meter has no figure to give.
    monkeypatch.setattr("listen.lab.ear.threshold.secrets.randbelow", lambda _: 2)
    app = HisswayApp(services=LabServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_lab(pilot, app)
        await take_in(pilot, app, "Una")
        await pilot.press("t")
        await until(pilot, lambda: isinstance(app.screen, HeadphoneScreen) and bool(app.screen.trials))
        await pilot.press("s")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, ThresholdScreen) and app.screen.run_ is not None)
        screen = app.screen
        for _ in range(60):
            if screen.run_.done:
                break
            number = screen.run_.number
            trial = screen.run_.trial()
            answer = trial.hiss_in if trial.level_db > -12 else trial.hiss_in % 4 + 1
            await pilot.press(str(answer))
            await until(pilot, lambda was=number: screen.run_.done or screen.run_.number > was)
        await until(pilot, lambda: "Your threshold" in words(app))
        said = words(app).replace("▌ ", "")
        assert "dB about" in said and "the meter on the same clips" in said


async def test_a_learner_is_deleted_with_everything(tmp_path: Path) -> None:
    app = HisswayApp(services=LabServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_lab(pilot, app)
        await take_in(pilot, app, "Una")
        await pilot.press("D", "down", "enter")
        await until(pilot, lambda: not list_learners(tmp_path / "lab"))
        await until(pilot, lambda: "Nobody learns here yet" in screen_text(app))


async def test_before_and_after_side_by_side(tmp_path: Path) -> None:
    """A repair that took the loss from 41 to 8 percent is a change beyond uncertainty, and said with it."""
    for title, loss in (("Before repair", 41.0), ("After repair", 8.0)):
        with create_job(tmp_path / "jobs", title=title, engine=layout("inline-4")) as opened:
            opened.append(ReadingEntered(reading="loss", value=loss, unit="percent", si=loss, cylinder=1))
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(100, 30)) as pilot:
        await until(pilot, lambda: app.screen.query_one("#jobs").option_count == 2)
        await pilot.press("enter")
        await until(pilot, lambda: bool(app.screen.query("EngineView")))
        await pilot.press("b")
        await until(pilot, lambda: bool(app.screen.query("OptionList")))
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, CompareScreen) and "41 %" in screen_text(app))
        assert "● Cylinder 1, loss" in screen_text(app) and "41 % →" in words(app) and "−33.0 %" in words(app)
