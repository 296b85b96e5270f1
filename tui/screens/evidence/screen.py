"""Evidence for one point: spectra over each other, a time-frequency picture, the flags, and the clips to hear."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Container
from textual.content import Content
from textual.widgets import Static

from listen.errors import HisswayError
from listen.jobs.walk import round_points
from listen.jobs.ways import SWITCHED
from listen.trade.points import point
from listen.voice import figures
from listen.voice.figures import UNKNOWN
from listen.voice.text import plain
from tui.bridge.playback import levelled
from tui.bridge.threads import in_thread
from tui.content import shown
from tui.screens.evidence.look import PART_WORDS, Looked, Part, looked
from tui.screens.evidence.words import flags, followed, numbers
from tui.screens.hearing import PlayingScreen
from tui.screens.point_rows import neighbour_point
from tui.widgets.heat import Heat, Picture
from tui.widgets.plots import Curve, LevelPlot, Moments, SpectraPlot

if TYPE_CHECKING:
    from pathlib import Path

    from listen.jobs.job import Job
    from listen.judge.result import PointResult
    from listen.rounds.switched_level import SwitchedLevel
    from listen.signal.clip import Clip

WIDE = 110
"""Columns from which plot and picture stand side by side."""


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
        self._looked: Looked | None = None
        self._level: SwitchedLevel | None = None

    def body(self) -> ComposeResult:
        yield Static(id="head")
        with Container(id="views"):
            yield SpectraPlot(id="plot")
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
        """The latest quiet and air clip of this point, or its switched take."""
        opened = self.bay.open_job
        if opened is None:
            return {}
        if clips := self.record.live_clips(self.at, SWITCHED):
            return {SWITCHED: opened.clip_path(clips[-1].id)}
        found = {}
        for name, walk in (("quiet", "quiet"), ("air", "air")):
            if clips := self.record.live_clips(self.at, walk):
                found[name] = opened.clip_path(clips[-1].id)
        return found

    def _result(self) -> PointResult | None:
        judged = self.record.verdict
        return next((p for p in judged.result.points if p.point == self.at), None) if judged else None

    def _look(self) -> None:
        paths = self._paths()
        self._looked = None
        heat = self.query_one(Heat)
        heat.picture = None
        heat.empty = "making the picture ..." if paths else "no clips at this point"
        self.query_one(SpectraPlot).empty()
        self._level = None
        self.refresh_bindings()
        self.query_one("#views").set_class(SWITCHED in paths, "-switched")
        self._words()
        if paths:
            self.start(partial(self._prepare, paths), "look")

    async def _prepare(self, paths: dict[str, Path]) -> None:
        heat = self.query_one(Heat)
        if SWITCHED in paths:
            await self._follow(paths[SWITCHED])
            return
        size = (max(heat.size.width - 7, 8), max((heat.size.height - 1) * 2, 4))
        chosen = self._pictured if self._pictured in paths else next(iter(paths))
        try:
            self._looked = await in_thread(looked, paths, chosen, self._part, *size)
        except HisswayError as e:
            heat.empty = plain(e)
            return
        self._draw(chosen)

    async def _follow(self, path: Path) -> None:
        """The level of a switched take."""
        from listen.rounds.switched_level import switched_level

        on_s = self.record.live_clips(self.at, SWITCHED)[-1].kept.on_s
        seen = await in_thread(switched_level, path, on_s)
        if seen is None or not self.is_attached:
            return
        self._level = seen
        self._words()
        self.call_after_refresh(self._show_level, seen)  # once the words have taken their lines

    def _show_level(self, seen: SwitchedLevel) -> None:
        theme = self.app.theme_variables
        parts = [
            Moments(seen.t_s[at].tolist(), seen.level_db[at].tolist(), mean_db, theme[pen])
            for at, mean_db, pen in ((seen.off, 0.0, "secondary"), (seen.on, seen.difference_db, "primary"))
        ]
        pens = theme["panel-lighten-2"], theme["accent"]
        self.query_one(LevelPlot).show(seen.t_s.tolist(), seen.level_db.tolist(), pens, parts)

    def _draw(self, chosen: str) -> None:
        seen = self._looked
        if seen is None or not self.is_attached:
            return
        theme = self.app.theme_variables
        pens = {"quiet": theme["secondary"], "air": theme["primary"]}
        curves = [Curve(c.level_db.tolist(), pens[name], dotted=name == "quiet") for name, c in seen.curves.items()]
        self.query_one(SpectraPlot).show(seen.lg_freq, curves, seen.tones_lg, theme["warning"])
        louder = "lighter" if self.app.current_theme.dark else "darker"
        caption = f"{chosen} clip{PART_WORDS[self._part]}, 0 to {seen.seconds:.1f} s; {louder} is louder"
        heat = self.query_one(Heat)
        heat.picture = Picture(seen.steps, seen.labels, caption)
        if self.size.width < WIDE:  # octaves are whole lines: what they leave is the spectrum's
            heat.styles.height = heat.picture.lines + 1
        self._words()

    def _words(self) -> None:
        result, seen = self._result(), self._looked
        kept = {name: figures.share(curve.kept) for name, curve in seen.curves.items()} if seen else {}
        lines = [numbers(result)]
        if (level := self._level) is not None and self.bay.job is not None:
            self._told([*lines, *followed(level, self.bay.job, self.record)], result)
            return
        tones = ", ".join(f"{hz / 1000:.1f} kHz" for hz in seen.tones_hz[:4]) if seen and seen.tones_hz else "none"
        lines.append(
            Content.assemble(
                ("┄ quiet ", "$secondary"),
                f"kept {kept.get('quiet', UNKNOWN)}   ",
                ("━ air ", "$primary"),
                f"kept {kept.get('air', UNKNOWN)}   dB per Hz   tones with the air: {tones}",
            )
        )
        self._told(lines, result)

    def _told(self, lines: list[Content], result: PointResult | None) -> None:
        sound = f"♪ {self._sounding}" if self._sounding else "1, 2 and 3 play it"
        lines.append(shown(f"{sound}{', hiss band only' if self._hiss_only else ''}", "$accent"))
        self.query_one("#head", Static).update(Content("\n").join(lines))
        self.query_one("#flags", Static).update(flags(result))

    # ------------------------------------------------------------------ keys

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
        """A note on the clip that is pictured."""
        clips = self.record.live_clips(self.at, self._pictured) or self.record.live_clips(self.at)
        if clips:
            self.write_note("this round", self.record.cylinder, self.round_id, clips[-1].kept)
        else:
            self.tell("No clip at this point.")

    def action_hiss(self) -> None:
        self._hiss_only = not self._hiss_only
        self._words()

    def action_play(self, what: str) -> None:
        """Play one clip, or both after each other at one level."""
        paths = self._paths()
        names = ["quiet", "air"] if what == "both" else [what]
        if SWITCHED not in paths and (missing := [n for n in names if n not in paths]):
            self.tell(f"No {missing[0]} clip at this point.")
            return
        self.start(partial(self._play, names, paths), "play")

    async def _play(self, names: list[str], paths: dict[str, Path]) -> None:
        def told(i: int) -> None:
            self._sounding = names[i] if i >= 0 else ""
            if self.is_attached:
                self._words()

        try:
            on_s = self.record.live_clips(self.at, SWITCHED)[-1].kept.on_s if SWITCHED in paths else ()
            await self.playback.play(partial(_load, names, paths, on_s, self._hiss_only), told)
        except HisswayError as e:
            told(-1)
            self.refuse(e)

    def action_silence(self) -> None:
        super().action_silence()
        self._sounding = ""
        self._words()


def _load(
    names: list[str], paths: dict[str, Path], on_s: tuple[tuple[float, float], ...], hiss_only: bool
) -> tuple[list[Clip], float]:
    """Quiet, air or both; of a switched take its halves."""
    from listen.audio.files import read_clip
    from listen.rounds.switching import pair

    if SWITCHED in paths:
        clips = dict(zip(("quiet", "air"), pair([paths[SWITCHED]], on_s), strict=True))
    else:
        clips = {n: read_clip(paths[n]) for n in names}
    return levelled([clips[n] for n in names], hiss_only=hiss_only, matched=len(names) == 2)
