"""Evidence for one point: spectra over each other, a time-frequency picture, the flags, and the clips to hear."""

from functools import partial
from pathlib import Path
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container
from textual.content import Content
from textual.widgets import Static

from listen.audio.files import read_clip
from listen.errors import HisswayError
from listen.jobs.job import Job
from listen.jobs.walk import round_points
from listen.jobs.ways import SWITCHED
from listen.rounds.switched_level import SwitchedLevel, switched_level
from listen.rounds.switching import pair
from listen.signal.clip import Clip
from listen.signal.exhibit import Exhibit
from listen.trade.points import point
from listen.voice.text import plain
from tui.bridge.playback import levelled
from tui.bridge.threads import in_thread
from tui.content import shown
from tui.screens.evidence.look import PART_WORDS, Part, looked
from tui.screens.evidence.words import compared, flags, followed, numbers
from tui.screens.hearing import PlayingScreen
from tui.screens.point_rows import neighbour_point
from tui.widgets.heat import AXIS, Heat
from tui.widgets.plots import LevelPlot, SpectraPlot, StillPlot

WIDE = 110
"""Columns from which plot and picture stand side by side."""
WORKED_OUT = "being worked out ..."


class EvidenceScreen(PlayingScreen[None]):
    """The latest quiet and air clip of a point."""

    SHOWS_NUMBERS = "round"
    HERE = "evidence"
    CSS_PATH = "evidence.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "point(-1)", "Point before", show=False),
        Binding("right", "point(1)", "Next point", key_display="← →"),
        Binding("1", "play('quiet')", "Quiet"),
        Binding("2", "play('air')", "Air"),
        Binding("3", "play('both')", "Both, level-matched"),
        Binding("z", "hiss", "Hiss band only"),
        Binding("x", "silence", "Stop"),
        Binding("w", "picture", "Other picture"),
        Binding("k", "knocks", "Knocks apart"),
        Binding("n", "note", "Note"),
    ]

    def __init__(self, round_id: str, at: str) -> None:
        super().__init__(round_id)
        self.at = at
        self._hiss_only = False
        self._pictured = "air"
        self._part: Part = "all"
        self._sounding = ""
        self._seen: Exhibit | None = None
        self._level: SwitchedLevel | None = None

    def body(self) -> ComposeResult:
        yield Static(id="head")
        with Container(id="views"):
            yield SpectraPlot()
            yield Heat()
            yield LevelPlot()
        yield Static(id="flags")

    def on_resize(self) -> None:
        """Side by side where there is room; the picture is made anew for its size."""
        self.query_one("#views").set_class(self.size.width >= WIDE, "-beside")
        self.query_one(Heat).styles.clear_rule("height")
        self.call_after_refresh(self._look)

    def way(self) -> tuple[str, ...]:
        return (*super().way(), point(self.at).words)

    def show_job(self, job: Job) -> None:
        """Words at once; plot and picture when they are ready."""
        self._words()
        self.call_after_refresh(self._look)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Of a switched take the level stands in the picture's place: no key turns it."""
        return action not in ("picture", "knocks") or not self.record.live_clips(self.at, SWITCHED)

    def _paths(self) -> dict[str, Path]:
        """The latest quiet and air clip of this point, or its switched take; none while a screen is left."""
        if self.bay.open_job is None:
            return {}
        walks = (SWITCHED,) if self.record.live_clips(self.at, SWITCHED) else ("quiet", "air")
        found = {walk: self.record.live_clips(self.at, walk) for walk in walks}
        return {walk: self.opened.clip_path(clips[-1].id) for walk, clips in found.items() if clips}

    def _look(self) -> None:
        """Have all made anew away from the screen; until then nothing of another clip stays."""
        paths, heat = self._paths(), self.query_one(Heat)
        self._seen = self._level = None
        # First of all: a plot of another clip beside these words would be read as theirs.
        heat.picture, heat.empty = None, WORKED_OUT if paths else "no clips at this point"
        for plot in self.query(StillPlot):
            plot.empty(heat.empty)
        self.refresh_bindings()
        self.query_one("#views").set_class(SWITCHED in paths, "-switched")
        self._words()
        if paths:
            self.start(partial(self._follow if SWITCHED in paths else self._draw, paths), "look")

    async def _draw(self, paths: dict[str, Path]) -> None:
        heat = self.query_one(Heat)
        # Two rows a line: a cell shows two half blocks.
        size = (max(heat.size.width - AXIS, 8), max((heat.size.height - 1) * 2, 4))
        # The other one where there is but one clip.
        chosen = self._pictured if self._pictured in paths else next(iter(paths))
        try:
            seen, picture = await in_thread(looked, paths, chosen, self._part, *size)
        except HisswayError as e:
            heat.empty = plain(e)
            self.query_one(SpectraPlot).empty("no spectra of these clips")
            return
        self._seen, heat.picture = seen, picture
        if self.size.width < WIDE:  # octaves are whole lines: what they leave is the spectrum's
            heat.styles.height = picture.lines
        self._words()
        self.query_one(SpectraPlot).show(seen)

    async def _follow(self, paths: dict[str, Path]) -> None:
        on_s = self.record.live_clips(self.at, SWITCHED)[-1].kept.on_s
        plot = self.query_one(LevelPlot)
        try:
            self._level = await in_thread(switched_level, paths[SWITCHED], on_s)
        except HisswayError as e:
            plot.empty(plain(e))
            return
        if self._level is None:
            plot.empty("When its air went on and off is not known.")
        else:
            self._words()
            plot.show(self._level)

    def _words(self) -> None:
        judged = self.record.verdict
        result = next((p for p in judged.result.points if p.point == self.at), None) if judged else None
        sound = f"♪ {self._sounding}" if self._sounding else "1, 2 and 3 play it"
        played = shown(f"{sound}{', hiss band only' if self._hiss_only else ''}", "$accent")
        if self.record.live_clips(self.at, SWITCHED):
            beside = followed(self._level, self.job, self.record) if self._level else []
        else:
            beside = [compared(self._seen)]
        self.query_one("#head", Static).update(Content("\n").join([numbers(result), *beside, played]))
        self.query_one("#flags", Static).update(flags(result))

    def action_point(self, by: int) -> None:
        if self.bay.job is None:
            return
        points = tuple(p.id for p in round_points(self.bay.job, self.record))
        self.at = neighbour_point(points, self.at, by)
        self.action_silence()
        self._job_changed(self.bay.job)

    def action_picture(self) -> None:
        self._pictured = "quiet" if self._pictured == "air" else "air"
        self._look()

    def action_knocks(self) -> None:
        """The knocks alone, then what is left without them, then all again."""
        parts = tuple(PART_WORDS)
        self._part = parts[(parts.index(self._part) + 1) % len(parts)]
        self._look()

    def action_note(self) -> None:
        clips = self.record.live_clips(self.at, self._pictured) or self.record.live_clips(self.at)
        if clips:
            self.write_note("this round", self.record.cylinder, self.round_id, clips[-1].kept)
        else:
            self.tell("No clip at this point.")

    def action_hiss(self) -> None:
        self._hiss_only = not self._hiss_only
        self._words()

    def action_play(self, what: str) -> None:
        paths = self._paths()
        names = ["quiet", "air"] if what == "both" else [what]
        if SWITCHED not in paths and (missing := [n for n in names if n not in paths]):
            self.tell(f"No {missing[0]} clip at this point.")
            return

        def told(i: int) -> None:
            self._sounding = names[i] if i >= 0 else ""
            self._words()

        on_s = self.record.live_clips(self.at, SWITCHED)[-1].kept.on_s if SWITCHED in paths else ()
        self.start(partial(self.sound, partial(_load, names, paths, on_s, self._hiss_only), told), "play")

    def action_silence(self) -> None:
        super().action_silence()
        self._sounding = ""
        self._words()


def _load(
    names: list[str], paths: dict[str, Path], on_s: tuple[tuple[float, float], ...], hiss_only: bool
) -> tuple[list[Clip], float]:
    """Quiet, air or both; of a switched take its halves."""
    if SWITCHED in paths:
        clips = dict(zip(("quiet", "air"), pair([paths[SWITCHED]], on_s), strict=True))
    else:
        clips = {n: read_clip(paths[n]) for n in names}
    return levelled([clips[n] for n in names], hiss_only=hiss_only, matched=len(names) == 2)
