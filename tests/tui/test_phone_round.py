"""A whole round from phones: six kinds of file, each heard and named, one cut at marks, to the measured verdict."""

from __future__ import annotations

import os
from concurrent.futures import Future
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile
from bay import banner, bench, to_quiet_walk, type_text, until, words
from fakes import FakeAnalyst, settled

from listen.audio.files import read_clip
from listen.jobs.folder.store import open_job
from listen.rounds.evaluate import evaluate
from listen.rounds.model import Round
from listen.signal.clip import Clip
from listen.trade.engine import layout
from tui.screens.naming.cut import CutScreen
from tui.screens.naming.screen import NamingScreen
from tui.widgets.level_meter import LevelStrip

DEMO = Path(__file__).parents[2] / "recordings" / "demo" / "job"
LEAKING = "c5-5a1d3e"
"""The shipped round whose intake valve leaks."""
FORM = {"intake": ".m4a", "tailpipe": ".mp3", "oil-filler": ".ogg", "radiator": ".opus", "plug-hole-2": ".flac"}
POINTS = tuple(FORM)
NOON = 1_780_000_000
CARRIED_S = 1.0
"""The microphone goes to the next point: loud, and cut out."""


class MeasuringAnalyst(FakeAnalyst):
    """Judges by what is in the clips."""

    def evaluate(self, round_: Round) -> Future:
        return settled(evaluate(round_))


def write_as_a_phone_does(path: Path, clip: Clip) -> None:
    if path.suffix != ".m4a":
        coding = {".ogg": "VORBIS", ".opus": "OPUS"}.get(path.suffix)
        soundfile.write(path, clip.samples, clip.rate_hz, format="OGG" if coding else None, subtype=coding)
        return
    import av

    with av.open(str(path), "w") as container:
        stream = container.add_stream("aac", rate=clip.rate_hz, options={"b": "128k"})
        stream.layout = "mono"
        frame = av.AudioFrame.from_ndarray(clip.samples[None, :], format="fltp", layout="mono")
        frame.rate, frame.time_base, frame.pts = clip.rate_hz, Fraction(1, clip.rate_hz), 0
        for packet in [*stream.encode(frame), *stream.encode(None)]:
            container.mux(packet)


def phone(folder: Path) -> list[str]:
    """Ten recordings of two walks, then the closing walk in one recording; their names in order of time."""
    with open_job(DEMO, write=False) as demo:
        clips = demo.job.round(LEAKING).live_clips()  # in walking order, the neighbour's plug hole last
        at = {p: c.kept.point for p, c in zip(POINTS, clips, strict=False)}
        kept = {(c.kept.walk, c.kept.point): demo.clip_path(c.id) for c in clips}
    folder.mkdir()
    names = []
    for walk in ("quiet", "air"):
        for point in POINTS:
            names.append(f"Memo {10 - len(names)}{FORM[point]}")  # the last by name is the first in time
            write_as_a_phone_does(folder / names[-1], read_clip(kept[walk, at[point]]))
    closing = [read_clip(kept["closing", at[point]]) for point in POINTS]
    hand = 0.3 * np.random.default_rng(1).standard_normal(round(CARRIED_S * closing[0].rate_hz)).astype(np.float32)
    pieces = [part for clip in closing for part in (clip.samples, hand)][:-1]
    names.append("All of it.wav")
    soundfile.write(folder / names[-1], np.concatenate(pieces), closing[0].rate_hz, subtype="PCM_16")
    for n, name in enumerate(names):
        os.utime(folder / name, (NOON + 60 * n, NOON + 60 * n))
    return names


async def test_six_kinds_of_file_become_a_measured_verdict(tmp_path: Path) -> None:
    pytest.importorskip("av")
    app = bench(tmp_path, engine=layout("inline-4"), analyst=MeasuringAnalyst())
    names = phone(tmp_path / "phone")
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("i")
        await until(pilot, lambda: bool(app.screen.query("#line")))
        await type_text(pilot, str(tmp_path / "phone"))
        await until(pilot, lambda: isinstance(app.screen, NamingScreen))
        naming = app.screen
        assert [r.path.name for r in naming.recordings] == names
        for name in names[:5]:  # each kind is heard before it is named
            await pilot.press("space")
            await until(pilot, lambda n=name: n in [heard for heard, _ in app.services.fake_player.played])
            await until(pilot, lambda: "♪" not in words(app))
            await pilot.press("down")
        await pilot.press("home", "w")
        assert [(r.point, str(r.kind)) for r in naming.recordings[:10]] == [
            (point, kind) for kind in ("quiet", "air") for point in POINTS
        ]
        await pilot.press("end", "c")
        await until(pilot, lambda: isinstance(app.screen, CutScreen) and bool(app.screen.query_one(LevelStrip).levels))
        for _ in POINTS[1:]:  # a mark on either side of the hand; what lies between is too short for a piece
            await pilot.press("right", "right", "right", "m", "right", "m")
        await pilot.press("enter")
        await until(pilot, lambda: app.screen is naming and len(naming.recordings) == 15)
        for n, _ in enumerate(POINTS, 1):
            await pilot.press(str(n), "down")
        await pilot.press("enter")
        await until(pilot, lambda: len(screen.record.live_clips()) == 15, 20.0)
        await until(pilot, lambda: "15 clips imported" in words(app))
        await pilot.press("1")
        await pilot.press("n")
        await until(pilot, lambda: screen.record.verdict is not None, 20.0)
        await until(pilot, lambda: "Air escapes past the intake valve" in banner(screen))
        told = screen.record.verdict.result
        assert told.verdict.paths == ("intake-valve",)
        assert {p.point for p in told.points} == set(POINTS)
        coded = {p.point for p in told.points if any(f.flag == "coded" for f in p.flags)}
        assert coded == {"intake", "tailpipe", "oil-filler", "radiator"}, "FLAC and WAV leave nothing out"
