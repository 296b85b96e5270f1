"""Invented jobs for these tests: strategies for events, a small result, a take as a microphone leaves it."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from hypothesis import strategies as st

from listen.audio.headers import PartHeader
from listen.audio.write import PartWriter
from listen.jobs import events as ev
from listen.judge.result import PathResult, RoundResult, Verdict
from listen.signal.flags import Flag
from listen.trade.engine import layout

CYLINDERS = st.integers(1, 4)
ROUND_IDS = st.sampled_from(["c1-aa", "c2-bb", "c3-cc"])
POINTS = st.sampled_from(["intake", "tailpipe", "oil-filler", "radiator", "plug-hole-2"])
CLIP_IDS = st.sampled_from([f"clip{n}" for n in range(12)])
WORDS = st.text(max_size=30).filter(lambda s: s.encode("utf-8", "ignore").decode() == s)
FLOATS = st.floats(-1e6, 1e6)


def result(kind: str = "path", path: str = "intake-valve") -> RoundResult:
    """A judged round with nothing but a verdict."""
    verdict = Verdict(kind=kind, paths=(path,), probability=0.9, text="invented", next="")
    return RoundResult(
        round="r", points=(), paths=(PathResult(path=path, probability=1.0, evidence_db={}),), verdict=verdict
    )


def opened(title: str = "Bench engine", **more: object) -> ev.JobOpened:
    """The first event of a job."""
    return ev.JobOpened(job="0" * 32, title=title, engine=layout("inline-4"), **more)  # type: ignore[arg-type]


@st.composite
def kept(draw: st.DrawFn) -> ev.ClipKept:
    """A clip kept somewhere, not always in a round that exists."""
    return ev.ClipKept(
        clip=draw(CLIP_IDS),
        round_id=draw(ROUND_IDS),
        point=draw(POINTS),
        clip_kind=draw(st.sampled_from(["quiet", "air", "sound", "shut"])),
        walk=draw(st.sampled_from(["quiet", "air", "closing", "reference"])),
        take=draw(st.integers(1, 9)),
        sha256="0" * 64,
        seconds=draw(st.floats(0.1, 60)),
        rate_hz=48000,
        gaps=tuple(draw(st.lists(st.tuples(st.floats(0, 9), st.floats(0, 9)), max_size=2))),
        flags=tuple(draw(st.lists(st.builds(Flag, flag=WORDS, value=FLOATS, limit=FLOATS, text=WORDS), max_size=2))),
    )


PAYLOADS: st.SearchStrategy[ev.Payload] = st.one_of(
    st.builds(ev.RoundOpened, round_id=ROUND_IDS, cylinder=CYLINDERS, title=WORDS),
    kept(),
    st.builds(ev.ClipTakenBack, clip=CLIP_IDS, reason=WORDS),
    st.builds(
        ev.ReadingEntered,
        reading=st.sampled_from(["loss", "supply", "compression-dry"]),
        value=FLOATS,
        unit=st.sampled_from(["kPa", "psi", "bar"]),
        si=FLOATS,
        cylinder=st.none() | CYLINDERS,
        round_id=st.none() | ROUND_IDS,
    ),
    st.builds(ev.PlugSeen, cylinder=CYLINDERS, conditions=st.tuples(WORDS), text=WORDS),
    st.builds(ev.SymptomNoted, symptom=st.sampled_from(["blue-smoke", "misfire"]), present=st.booleans()),
    st.builds(ev.CheckMade, check=st.just("timing-marks"), outcome=st.sampled_from(["off", "right", ""])),
    st.builds(ev.AnswerWithdrawn, fact=st.sampled_from(["loss", "altitude"]), cylinder=st.none() | CYLINDERS),
    st.builds(ev.NoteAdded, text=WORDS, round_id=st.none() | ROUND_IDS),
    st.builds(ev.CautionAcknowledged, caution=st.just("set-up"), round_id=st.none() | ROUND_IDS),
    st.builds(ev.StepPassed, round_id=ROUND_IDS, step=st.sampled_from(["loss", "closing"]), reason=WORDS),
    st.builds(ev.PointSkipped, round_id=ROUND_IDS, point=POINTS, reason=WORDS, skipped=st.booleans()),
    st.builds(ev.ByEarCalled, round_id=ROUND_IDS, paths=st.tuples(WORDS), declined=st.booleans()),
    st.builds(ev.AirFollowed, round_id=ROUND_IDS, seen=st.sampled_from(["yes", "no", "not-looked"])),
    st.builds(ev.BubblesLooked, round_id=ROUND_IDS, seen=st.sampled_from(["yes", "no", "not-looked"])),
    st.builds(ev.TopFoundAgain, round_id=ROUND_IDS, loss_percent=FLOATS),
    st.builds(ev.Judged, round_id=ROUND_IDS, result=st.just(result()), clips=st.tuples(CLIP_IDS)),
    st.builds(ev.Overruled, round_id=ROUND_IDS, name=WORDS, paths=st.tuples(WORDS), reason=WORDS),
    st.builds(ev.Signed, round_id=ROUND_IDS, name=WORDS, role=WORDS, statement=WORDS, head=st.just("0" * 64)),
    st.builds(ev.FindingRecorded, cylinder=CYLINDERS, paths=st.tuples(WORDS)),
    st.builds(ev.PersonChosen, role=st.sampled_from(["tech", "supervisor"]), name=WORDS),
)
"""Events of most kinds, many of them about rounds and clips that a job may not have."""


def hiss(seconds: float = 0.3, rate_hz: int = 16000, seed: int = 1, level: float = 0.01) -> np.ndarray:
    """White noise, so that clips differ by seed."""
    noise = np.random.default_rng(seed).normal(0, level, int(seconds * rate_hz))
    return noise.astype(np.float32)


def leave_part(path: Path, *, rate_hz: int = 16000, seed: int = 1, level: float = 0.01, seconds: float = 0.3) -> None:
    """Write a take the way the microphone does."""
    with PartWriter(path, PartHeader(rate_hz, "invented microphone", datetime(2026, 1, 5, 9, tzinfo=UTC))) as writer:
        writer.write(hiss(seconds, rate_hz, seed, level), 0)
