"""Every word on every screen stands out from its ground, in daylight and in the dim bay; measured on what is drawn."""

from __future__ import annotations

from pathlib import Path

import pytest
from bay import bench, screen_text, to_engine, to_quiet_walk, until
from fakes import result_for
from test_lab import LabServices, drilling, take_in, to_lab
from test_widgets import luminance
from textual.color import Color
from textual.filter import LineFilter
from textual.pilot import Pilot
from textual.screen import ModalScreen

from listen.jobs.events import Judged, SymptomNoted
from listen.jobs.folder.store import open_job
from listen.trade.engine import layout
from tests.jobs.short import begin_round
from tui.app import HisswayApp
from tui.screens.confirm.screen import ConfirmScreen
from tui.screens.diagnosis.screen import DiagnosisScreen
from tui.screens.microphone.screen import MicrophoneScreen
from tui.screens.new_job.screen import NewJobScreen
from tui.screens.verdict.screen import VerdictScreen
from tui.themes import THEMES

ENOUGH = 4.5
"""WCAG 2, level AA, for text."""


def ratio(a: Color, b: Color) -> float:
    """Contrast of two colours (WCAG 2)."""
    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def faint(app: HisswayApp, *filters: LineFilter) -> list[str]:
    """Words drawn (through ``filters``) with less contrast than is enough; behind a dialog the screen may be faint."""
    region = app.screen.children[0].region if isinstance(app.screen, ModalScreen) else app.screen.region
    found = []
    for y, strip in enumerate(app.screen._compositor.render_strips()):
        if not region.y <= y < region.bottom:
            continue
        for one in filters:
            strip = strip.apply_filter(one, app.screen.background_colors[1])
        for segment in strip.crop(region.x, region.right):
            style = segment.style
            if style is None or style.color is None or style.bgcolor is None or not any(map(str.isalnum, segment.text)):
                continue
            pair = [Color.from_rich_color(c) for c in (style.color, style.bgcolor)]
            if style.dim or ratio(*pair) < ENOUGH:
                found.append(f"{segment.text.strip()!r}: {ratio(*pair):.1f} ({pair[0].hex} on {pair[1].hex})")
    return found


each_theme = pytest.mark.parametrize("theme", [t.name for t in THEMES])
"""A run each: to change the theme under a screen is most of a look's work."""


class Look:
    """Looks at what is drawn, and remembers what is faint."""

    def __init__(self, pilot: Pilot, theme: str) -> None:
        self.pilot = pilot
        pilot.app.theme = theme
        self.bad: dict[tuple[str, str], list[str]] = {}

    async def __call__(self, *groups: tuple[str, ...]) -> None:
        """Press each group of keys and look after it; none: look at once."""
        for group in groups or ((),):
            await self.pilot.press(*group)
            await self.pilot.pause()
            if found := faint(self.pilot.app):
                key = (type(self.pilot.app.screen).__name__, self.pilot.app.theme)
                self.bad.setdefault(key, []).extend(found)


@each_theme
async def test_the_bench_can_be_read(tmp_path: Path, theme: str) -> None:
    """Jobs, new job, engine with its dialogs, round with its dialogs, verdict, diagnosis, confirm, microphone, help."""
    app = bench(tmp_path, engine=layout("inline-4"))
    with open_job(next((tmp_path / "jobs").glob("[!.]*"))) as opened:
        round_id = begin_round(opened, 2)
        opened.append(Judged(round_id=round_id, result=result_for(["intake", "tailpipe"]), clips=()))
        opened.append(SymptomNoted(symptom="smoke-blue-overrun"))
    async with app.run_test(size=(80, 24)) as pilot:
        look = Look(pilot, theme)
        await until(pilot, lambda: bool(app.screen.query("#jobs")) and app.screen.query_one("#jobs").display)
        await look(("slash",), ("escape",))
        app.push_screen(NewJobScreen())
        await look((), ("tab",), ("enter",), ("escape",), ("ctrl+s",))
        app.pop_screen()
        await to_engine(pilot)
        keys = [
            (),
            ("9",),
            ("enter",),
            ("escape",),
            ("p",),
            ("escape",),
            ("f",),
            ("2",),
            ("escape",),
            ("question_mark",),
        ]
        await look(*keys, ("escape",), ("ctrl+p",), ("escape",))
        app.sit("Ida Moor", "supervisor")
        for screen in (VerdictScreen(round_id), DiagnosisScreen(), ConfirmScreen(round_id), MicrophoneScreen()):
            app.push_screen(screen)
            await look()
            if isinstance(screen, DiagnosisScreen):
                await look(("s",), ("escape",))
            app.pop_screen()
            await pilot.pause()
    assert not look.bad


@each_theme
async def test_a_round_can_be_read(tmp_path: Path, theme: str) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        look = Look(pilot, theme)
        await to_quiet_walk(pilot)
        keys = [
            (),
            ("t",),
            ("tab", "tab", "tab", "tab"),
            ("space",),
            ("escape",),
            ("i",),
            (*"x", "enter"),
            ("escape",),
            ("s",),
        ]
        await look(*keys, ("x",), ("space",))
    assert not look.bad


@each_theme
async def test_the_lab_can_be_read(tmp_path: Path, theme: str) -> None:
    app = HisswayApp(services=LabServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        look = Look(pilot, theme)
        await to_lab(pilot, app)
        await look(("w",), ("enter",), ("escape",))
        await take_in(pilot, app, "Una")
        await look((), ("d",), ("escape",), ("t",), ("escape",))
        await drilling(pilot, app)
        await look((), ("c",), ("1",), ("3",))
    assert not look.bad


def test_the_measure_itself_finds_faint_words() -> None:
    assert ratio(Color.parse("#ffffff"), Color.parse("#000000")) == pytest.approx(21)
    assert ratio(Color.parse("#999999"), Color.parse("#f1eee6")) < ENOUGH


async def test_tones_on_or_off_are_words_not_a_colour(tmp_path: Path) -> None:
    """Tones on or off can be told on a screen without colours, and is kept."""
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_quiet_walk(pilot)
        await pilot.press("t")
        await until(pilot, lambda: "before and after each clip" in screen_text(app))
        await pilot.press("tab", "tab", "tab", "tab", "enter", "down", "enter")
        await until(pilot, lambda: "before and after each clip" not in screen_text(app))
        await pilot.press("ctrl+s")
        await until(pilot, lambda: app.preferences.tones is False)
