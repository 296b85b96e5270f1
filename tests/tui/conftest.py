"""Makes the helpers of this folder importable, and the start of an app cheaper."""

from __future__ import annotations

import sys
from collections.abc import Callable
from inspect import CO_VARARGS, CO_VARKEYWORDS
from pathlib import Path
from types import MethodType
from weakref import WeakKeyDictionary

import pytest
import textual._callback
import textual._wait
import textual.screen
from textual.css.model import RuleSet
from textual.css.stylesheet import Stylesheet
from textual.pilot import Pilot
from textual.screen import Screen

from tui.screens.microphone import screen as microphone
from tui.screens.round import screen as round_room

sys.path.insert(0, str(Path(__file__).parent))


def _parse_once() -> None:
    """The same style sheet under the same colours is parsed once a process, not once an app: an eighth of its start."""
    known: dict[object, list[RuleSet]] = {}
    palettes: dict[object, int] = {}
    of: WeakKeyDictionary[Stylesheet, tuple[object, int]] = WeakKeyDictionary()
    parse = Stylesheet._parse_rules

    def parsed(sheet: Stylesheet, *text: object, **more: object) -> list[RuleSet]:
        colours, palette = of.get(sheet, (None, 0))
        if colours is not sheet._variables:  # some hundreds of names, looked at once a sheet, not once a part of it
            palette = palettes.setdefault(tuple(sheet._variables.items()), len(palettes))
            of[sheet] = (sheet._variables, palette)
        key = (text, tuple(more.items()), palette)
        if key not in known:
            known[key] = parse(sheet, *text, **more)  # type: ignore[arg-type]
        return known[key]

    Stylesheet._parse_rules = parsed  # type: ignore[method-assign, assignment]
    RuleSet.__hash__ = object.__hash__  # type: ignore[method-assign]  # by identity, as its own, 260 times a widget


_parse_once()


def _count_quickly() -> None:
    """How many parameters a callback takes is asked of it anew for every message: a fiftieth of these tests, where its
    whole signature is made for that."""
    in_full = textual._callback._count_parameters

    def counted(callback: Callable[..., object]) -> int:
        if isinstance(callback, MethodType):
            return counted(callback.__func__) - 1
        code = getattr(callback, "__code__", None)
        if code is None or code.co_flags & (CO_VARARGS | CO_VARKEYWORDS) or hasattr(callback, "__wrapped__"):
            return in_full(callback)
        return code.co_argcount + code.co_kwonlyargcount

    textual._callback._count_parameters = counted


_count_quickly()


DRAW_AT_ONCE = Screen._compositor_refresh


def _draw_what_is_waited_for() -> None:
    """Sixty frames and twenty-five moves of the meter a second are for eyes: what a pilot waits for is drawn once it is
    there, by :meth:`Pilot.pause`. What passes on the way there, more or less of it as the machine was busy, was a tenth
    of these tests; where a whole round is walked it is drawn as well (``drawn_at_once``)."""
    textual.screen.UPDATE_PERIOD = 1 / 8  # type: ignore[misc]
    round_room.METER_PERIOD_S = microphone.METER_PERIOD_S = 1 / 5
    draw, pause = DRAW_AT_ONCE, Pilot.pause

    def owe(screen: Screen[object]) -> None:
        if screen is not screen.app.screen:
            draw(screen)  # marks what shines through on the screen that lies on top
            return
        screen._dirty_widgets.clear()  # their regions are noted in the compositor
        screen.app._update_mouse_over(screen)

    async def paused(pilot: Pilot[object], delay: float | None = None) -> None:
        await pause(pilot, delay)
        if pilot.app.screen._compositor._dirty_regions:
            draw(pilot.app.screen)

    Screen._compositor_refresh = owe  # type: ignore[method-assign]
    Pilot.pause = paused  # type: ignore[method-assign]


_draw_what_is_waited_for()


@pytest.fixture
def drawn_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """As for eyes: for a test of when things are drawn, and of all that may have to be drawn."""
    monkeypatch.setattr(Screen, "_compositor_refresh", DRAW_AT_ONCE)


def _wait_little() -> None:
    """A pilot sleeps twice a key until the processor was idle for 20 ms: two thirds of the time of these tests.

    One millisecond tells as much: what the loop still has to do is done before a sleep in it ends, however busy the
    machine is, and what another thread does is waited for by name (``until``).
    """
    textual._wait.SLEEP_GRANULARITY = 1 / 1000
    textual._wait.SLEEP_IDLE = 1 / 5000


_wait_little()
