"""Recordings from a phone in order of time: the tech hears each and says which point it is, air off or on."""

from dataclasses import replace
from functools import partial
from typing import Any

from textual import events, on
from textual.binding import Binding

from listen.jobs.bring_in import KINDS, LONG_S, Found, Recording, in_walking_order, stretch
from listen.jobs.walk import Step
from listen.trade.points import Point
from listen.voice.names import clip as clip_words
from listen.voice.names import point_name
from listen.voice.text import plain
from tui.bridge.playback import levelled
from tui.screens.base import asks
from tui.screens.hearing import PlayingScreen
from tui.screens.naming.cut import CutScreen
from tui.widgets.banner import Banner, Say
from tui.widgets.lines import Lines

PLAYED_S = 20.0
"""Of a recording that is played here; the cut screen plays any stretch of a longer one."""
HOW = "Which recording is which? Space plays it, a digit says the point, o whether the air was on."
DROPPED = "Enter brings in what is named, Esc again drops it."
UNNAMED = "None is named yet: a digit says which point a recording is, w names them in walking order."
NAME = 26
"""Columns of a file's name."""


class NamingScreen(PlayingScreen[tuple[Recording, ...]]):
    """A line a recording; digits say which point, o whether the air was on."""

    HERE = "name recordings"
    BODY = (Banner, Lines)
    AUTO_FOCUS = "Lines"
    BINDINGS = [
        Binding("space", "play", "Play or stop"),
        Binding("o", "air", "Air off or on"),
        Binding("w", "walk", "In walking order from here"),
        Binding("c", "cut", "Cut at marks"),
        Binding("backspace,0", "leave_out", "Not used", key_display="Bksp"),
        Binding("enter", "take", "Bring in", priority=True),
    ]

    def __init__(self, found: Found, points: tuple[Point, ...], step: Step) -> None:
        super().__init__()
        self.recordings = found.recordings
        self._order, self._points, self._step = found.order, points, step
        self._sounds = -1
        # One recording is surely the clip that is due: said beforehand, and as easily said otherwise.
        if len(self.recordings) == 1 and not found.named and step.kind == "clip":
            self.recordings = in_walking_order(self.recordings, 0, [p.id for p in points], (step.point, step.walk))
        self._dropped = self.recordings
        """What Esc drops: as they came, or what was asked about."""

    def on_mount(self) -> None:
        self._say()
        self._show(*self.recordings)

    def _say(self, outcome: str = "", tone: str = "plain") -> None:
        numbered = "   ".join(f"{i} {p.words}" for i, p in enumerate(self._points[:9], 1))
        order = f"{HOW} In order of time, {self._order}."
        self.query_one(Banner).say = Say(order, f"{numbered}   0 not used", "", outcome, tone)

    def _show(self, *recordings: Recording) -> None:
        self.recordings = recordings
        self.query_one(Lines).put([(str(i), self._line(i, r)) for i, r in enumerate(recordings)])

    def _line(self, i: int, r: Recording) -> str:
        time = f"{r.taken.astimezone():%H:%M:%S}" if r.taken else "--:--:--"
        what = f"{point_name(r.point)}, {clip_words(r.kind)}" if r.point else "–"
        what = f"! {plain(r.trouble, 80)}" if r.trouble else what
        sounds = "♪" if i == self._sounds else " "
        name = plain(r.path.name, NAME)
        return f"{sounds} {time}  {name:<{NAME}} {r.seconds:6.1f} s  {what}"

    def _at(self) -> int:
        return int(self.query_one(Lines).here or -1)

    def _chosen(self) -> Recording | None:
        at = self._at()
        return self.recordings[at] if 0 <= at < len(self.recordings) else None

    def _put(self, at: int, *instead: Recording) -> None:
        self._show(*self.recordings[:at], *instead, *self.recordings[at + 1 :])

    def _say_of_it(self, **said: Any) -> None:
        """Say which point the chosen recording is, or its kind; of one that cannot be read nothing can be said."""
        if (r := self._chosen()) is not None and not r.trouble:
            self._put(self._at(), replace(r, **said))

    @on(Lines.OptionHighlighted)
    def _moved(self) -> None:
        r = self._chosen()
        long = r is not None and r.seconds >= LONG_S
        hint = "A long one: if it holds several points, c cuts it at marks." if long else ""
        trouble = f"! {plain(r.trouble, 300)}" if r is not None and r.trouble else ""
        self._say(trouble or hint, "again" if trouble else "plain")

    def take_key(self, event: events.Key) -> bool:
        if (event.character or "").isdecimal() and event.key != "0":
            number = int(event.character or "0")
            if number <= len(self._points):
                self._say_of_it(point=self._points[number - 1].id)
            return True
        return super().take_key(event)

    def action_air(self) -> None:
        """Air off, air on, a sound cylinder's, supply shut off: the next of them."""
        if (r := self._chosen()) is not None:
            after = (KINDS.index(r.kind) + 1) % len(KINDS) if r.kind in KINDS else 0
            self._say_of_it(kind=KINDS[after])

    def action_walk(self) -> None:
        """From here on one after the other as a round is walked, beginning with what is due."""
        due = (self._step.point, self._step.walk) if self._step.kind == "clip" else ("", "")
        self._show(*in_walking_order(self.recordings, max(self._at(), 0), [p.id for p in self._points], due))

    def action_leave_out(self) -> None:
        self._say_of_it(point="")

    @asks
    async def action_cut(self) -> None:
        at, r = self._at(), self._chosen()
        if r is not None and not r.trouble:
            self.silence()
            if pieces := await self.answer(CutScreen(r)):
                self._put(at, *pieces)

    def action_back(self) -> None:
        if self.recordings == self._dropped:
            super().action_back()
        else:
            self._dropped = self.recordings
            self._say(f"! {DROPPED}", "again")

    def action_take(self) -> None:
        if not any(r.point for r in self.recordings):
            self._say(f"! {UNNAMED}", "again")
        else:
            self.dismiss(self.recordings)

    def action_play(self) -> None:
        at, r = self._at(), self._chosen()
        if self._sounds >= 0 or r is None or r.trouble:
            self.silence()
            self._now_sounds(-1, -1)
        else:
            told = partial(self._now_sounds, at)
            self.start(partial(self.sound, lambda: levelled([stretch(r, most_s=PLAYED_S)]), told), "play")

    def _now_sounds(self, at: int, sounding: int) -> None:
        self._sounds = at if sounding >= 0 else -1
        self._show(*self.recordings)
