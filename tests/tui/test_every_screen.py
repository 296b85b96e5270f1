"""Every screen at 80x24, 100x30 and 160x45, light, dark and without colours: no words cut, every key to be found."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from functools import partial
from pathlib import Path

import msgspec
import pytest
from bay import screen_text, to_engine, until
from fakes import QUICK, FakeMany
from rich.cells import cell_len
from test_contrast import faint
from test_lab import LabServices, ready
from test_screens import judged_job
from textual.app import App, ComposeResult
from textual.pilot import Pilot
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import Static

from listen.jobs.bring_in import recordings_in
from listen.jobs.events import NoteAdded, PersonChosen, WayChosen
from listen.jobs.folder.store import list_jobs, open_job
from listen.jobs.walk import walked
from listen.lab.ear.threshold import backgrounds
from listen.lab.learners import create_learner
from listen.lab.training.drills import list_drills
from listen.lab.training.session import sit_down
from listen.trade.facts import plugs
from tests.jobs.short import begin_round
from tui import screens as package
from tui.app import SITTING, WHO, HisswayApp
from tui.bridge.preferences import save
from tui.screens.card.screen import CardScreen
from tui.screens.cautions import CautionScreen
from tui.screens.channels import ChannelsScreen
from tui.screens.compare.screen import CompareScreen
from tui.screens.confirm.screen import ConfirmScreen
from tui.screens.diagnosis.screen import DiagnosisScreen
from tui.screens.dialog import OneLineScreen, PickScreen, TickScreen
from tui.screens.engine.screen import EngineScreen
from tui.screens.evidence.screen import EvidenceScreen
from tui.screens.facts.screen import FactsScreen
from tui.screens.help.screen import HelpScreen, keys_of
from tui.screens.hit_rate.screen import HitRateScreen
from tui.screens.jobs.screen import SHELVES, WITH_JOB, JobsScreen
from tui.screens.lab.drill import DrillScreen
from tui.screens.lab.screen import LabScreen
from tui.screens.lab.which import HeadphoneScreen, ThresholdScreen
from tui.screens.microphone.screen import MicrophoneScreen
from tui.screens.naming.cut import CutScreen
from tui.screens.naming.screen import NamingScreen
from tui.screens.new_job.screen import NewJobScreen
from tui.screens.page.screen import PageScreen
from tui.screens.photos.screen import PhotosScreen
from tui.screens.round.bringing_in import ABOUT_IMPORT
from tui.screens.round.screen import RoundScreen
from tui.screens.round.times import TimesScreen
from tui.screens.verdict.screen import VerdictScreen
from tui.screens.waiting.screen import WaitingScreen
from tui.themes import THEMES, AnySegment
from tui.widgets.drawn import Cells, Drawn
from tui.widgets.edges import KeyBar, key_words

SIZES = ((80, 24), (100, 30), (160, 45))
LONG = "Wherever the green tractor of the co-operative stands it pops back through the carburettor when it is cold"


def cut(screen: Screen[object]) -> list[str]:
    """Words that no room is left for: outside the screen or their frame, with nothing to scroll them by."""
    found = []
    for widget in screen.query(Static):
        if not widget.display or not str(widget.content).strip() or any(not a.display for a in _around(widget)):
            continue
        if any((a.show_vertical_scrollbar or a.show_horizontal_scrollbar) and a is not screen for a in _around(widget)):
            continue  # it can be scrolled to; a whole screen is not meant to be
        geometry = screen.find_widget(widget)
        seen = geometry.region.intersection(geometry.clip).intersection(screen.region)
        needed = widget.get_content_height(screen.size, screen.size, widget.content_size.width or 1)
        if seen.size != geometry.region.size or needed > widget.content_size.height:
            found.append(f"{widget!r}: {str(widget.content)[:60]!r} needs {needed} lines, {seen} of {geometry.region}")
    return found


def _around(widget: Widget) -> list[Widget]:
    return [a for a in widget.ancestors_with_self if isinstance(a, Widget)]


def lost_keys(app: HisswayApp) -> list[str]:
    """Keys of the screen that stand neither at its foot nor in its help; the help's own key always stands."""
    screen, text = app.screen, screen_text(app)
    offered = [a.binding for a in screen.active_bindings.values() if a.binding.show and a.enabled]
    bar = screen.query(KeyBar)
    if not bar:
        return [] if "Esc" in text or "any key" in text or "Space" in text else ["no word of the key that leads out"]
    foot = "\n".join(text.splitlines()[-2:])
    told = {words for _, words in keys_of(screen)}
    lost = [b.key for b in offered if f"{key_words(b)} {b.description}" not in foot and b.description not in told]
    return lost + ([] if " Help" in foot or "more key" in foot else ["no help"])


async def faint_anywhere(pilot: Pilot[object]) -> list[str]:
    """Words that do not stand out from their ground, in either theme, with colours and without."""
    app, found = pilot.app, []
    for theme in sorted(THEMES, key=lambda theme: theme.name != app.theme):
        if theme.name != app.theme:  # the screen on top alone: to recolour all those below it is most of a change
            app.set_reactive(App.theme, theme.name)
            app.stylesheet.set_variables(app.get_css_variables())
            app.stylesheet.reparse()
            app.stylesheet.update(app.screen)
            app.screen.refresh(layout=True)
            await pilot.pause()
        for how, filters in (("", ()), (", NO_COLOR", (AnySegment(),))):
            found += [f"{theme.name}{how}: faint {words}" for words in faint(app, *filters)]  # type: ignore[arg-type]
    return found


async def drawn(pilot: Pilot[object], text: str = "") -> str:
    """Until the screen stands still, which it does where it says ``text`` once more; gives what it says."""
    for _ in range(60):
        await pilot.pause(0.01)
        text, before = screen_text(pilot.app), text  # type: ignore[arg-type]
        if text == before and text.strip():
            break
    return text


async def everywhere(tmp_path: Path) -> tuple[HisswayApp, dict[str, Callable[[], Screen[object]]]]:
    """A job with a long title, a judged round, one under way, notes, people; and every screen that shows it."""
    round_id = await judged_job(tmp_path)
    folder = tmp_path / "jobs" / list_jobs(tmp_path / "jobs")[0].folder
    from listen.jobs.events import JobNamed

    with open_job(folder) as opened:
        opened.append(JobNamed(title=LONG, complaint=LONG), PersonChosen(role="tech", name="Ann Field"))
        opened.append(WayChosen(way="each-point"), NoteAdded(text=LONG, cylinder=1))
        second = begin_round(opened, 2)
        clips = opened.clips
        step, points = walked(opened.job, second).due, walked(opened.job, second).points
    services = LabServices(tmp_path, FakeMany())
    save(services.preferences_path(), msgspec.structs.replace(QUICK, air_s=8.0))
    learner = create_learner(services.lab_root(), "Una")
    drill = next(d.id for d in list_drills(services.lab_root()) if d.title == "First leaks")
    app = HisswayApp(services=services)
    found = recordings_in(clips)
    one = found.recordings[0]

    def listener() -> object:
        return next(s for s in app.screen_stack if isinstance(s, RoundScreen)).listener

    screens: dict[str, Callable[[], Screen[object]]] = {
        "round begun": lambda: RoundScreen(second),
        "channels": lambda: ChannelsScreen(listener(), tuple(p.id for p in points)),  # type: ignore[arg-type]
        "times": TimesScreen,
        "import": lambda: OneLineScreen("Import clips recorded elsewhere", how=ABOUT_IMPORT),
        "naming": lambda: NamingScreen(found, points, step),
        "cut": lambda: CutScreen(one),
        "round judged": lambda: RoundScreen(round_id),
        "evidence": lambda: EvidenceScreen(round_id, "intake"),
        "verdict": lambda: VerdictScreen(round_id),
        "confirm": lambda: ConfirmScreen(round_id),
        "page": lambda: PageScreen(1),
        "job's page": PageScreen,
        "photos": lambda: PhotosScreen(1),
        "facts": FactsScreen,
        "diagnosis": DiagnosisScreen,
        "compare": CompareScreen,
        "card": lambda: CardScreen(app.job),  # type: ignore[arg-type]
        "cautions": CautionScreen,
        "who": lambda: OneLineScreen(WHO, "Ann Field", how=SITTING),
        "note": lambda: OneLineScreen("A note on cylinder 1"),
        "more": lambda: PickScreen(LONG, [*WITH_JOB, *SHELVES]),
        "help": lambda: HelpScreen.of(EngineScreen()),
        "microphone": MicrophoneScreen,
        "waiting": WaitingScreen,
        "hit rate": HitRateScreen,
        "new job": NewJobScreen,
        "plugs": lambda: TickScreen(
            "Plug of cylinder 1: one look or several", [(p.id, p.words, p.look) for p in plugs()]
        ),
        "which points": lambda: PickScreen("Pressures in which unit?", [(u, u, "") for u in ("kPa", "psi", "bar")]),
        "lab": LabScreen,
        "drill": lambda: DrillScreen("Una", partial(sit_down, services.lab_root(), learner, drill)),
        "headphones": lambda: HeadphoneScreen("Una"),
        "threshold": lambda: ThresholdScreen(services.lab_root(), learner, backgrounds()[0]),
    }
    return app, screens


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
async def test_every_screen_at_every_size(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, size: tuple[int, int]
) -> None:
    """A run a size, each screen in both themes and in grey: opened once, laid out once, then only drawn anew."""
    app, screens = await everywhere(tmp_path)
    wrong: list[str] = []
    visited: set[str] = set()

    short: list[str] = []
    put = Cells.put

    def watched(line: Cells, at: int, text: str, style: str, room: int | None = None) -> int:
        has = len(line) - at if room is None else min(room, len(line) - at)
        if 0 < has < cell_len(text):
            short.append(text)
        return put(line, at, text, style, room)

    monkeypatch.setattr(Cells, "put", watched)

    async def look(pilot: Pilot[object], name: str) -> None:
        visited.add(type(app.screen).__name__)
        text = await drawn(pilot)
        short.clear()
        app.screen.refresh(layout=True)
        for widget in app.screen.query(Drawn):
            widget.refresh()
        await drawn(pilot, text)
        wrong.extend(
            f"{name} at {size[0]}x{size[1]}: drawn short: {text!r}" for text in dict.fromkeys(short) if text != LONG
        )
        lost = [f"key {k} is not to be found" for k in lost_keys(app)]
        wrong.extend(
            f"{name} at {size[0]}x{size[1]}: {b}" for b in [*cut(app.screen), *lost, *await faint_anywhere(pilot)]
        )

    async with app.run_test(size=size) as pilot:
        await until(pilot, lambda: isinstance(app.screen, JobsScreen) and app.screen.query_one("#jobs").display)
        app.sit("Ida Moor", "supervisor")  # else Confirm stands behind its question who confirms
        await look(pilot, "jobs")
        await to_engine(pilot)
        await look(pilot, "engine")
        for name, make in screens.items():
            await app.push_screen(make())
            await asyncio.sleep(0)
            if isinstance(app.screen, DrillScreen):
                await ready(pilot, app)
            await look(pilot, name)
            if name not in ("round begun",):  # it stays below its dialogs
                app.pop_screen()
            if name == "cut":
                app.pop_screen()
    assert not wrong, "\n".join(wrong)
    left = {c.__name__ for c in _screens()} - visited
    assert not left, f"never looked at: {left}"


async def test_the_measure_itself_finds_what_is_cut() -> None:
    class Short(App[None]):
        CSS = "#low { height: 1; } #wide { width: 200; } #fits { height: auto; }"

        def compose(self) -> ComposeResult:
            yield Static("two lines\nof words", id="low")
            yield Static("beyond the edge", id="wide")
            yield Static("two lines\nof words", id="fits")

    async with Short().run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        found = cut(pilot.app.screen)
        assert len(found) == 2 and "low" in found[0] and "wide" in found[1]


def _screens() -> set[type]:
    """Every class of a screen that can be opened."""

    def below(kind: type) -> set[type]:
        return {kind}.union(*(below(k) for k in kind.__subclasses__()))

    assert package.__name__
    every = {c for c in below(Screen) if c.__module__.startswith("tui.screens.")}
    return {c for c in every if not any(k.__module__.startswith("tui.screens.") for k in c.__subclasses__())}
