"""A microphone, an analyst and a loudspeaker that do what a test tells them, without hardware and without waiting."""

from __future__ import annotations

import threading
import time
from concurrent.futures import Future
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from listen.audio.headers import PartHeader
from listen.audio.take import Recording
from listen.audio.write import PartWriter
from listen.errors import AudioError, DeviceLost
from listen.judge.result import BubbleRates, PathResult, PointResult, RoundResult, Verdict
from listen.rounds.check import ClipCheck
from listen.signal.flags import Flag
from tui.bridge.playback import Tones
from tui.bridge.preferences import Preferences
from tui.bridge.services import Services

RATE_HZ = 48_000


class FakeSource:
    """Quick white noise; ``script`` says what the next takes do: ok, lost, full, slow."""

    name = "fake microphone"
    rate_hz = RATE_HZ
    channels = 1

    def __init__(self, script: list[str] | None = None) -> None:
        self.script = script or []
        self.recorded: list[Path] = []
        self.recording = threading.Event()
        self.closed = False
        self._trouble: AudioError | None = None
        self._noise = (np.random.default_rng(1).standard_normal(RATE_HZ // 10) * 1e-2).astype(np.float32)

    def open(self) -> None:
        self._trouble = None

    def close(self) -> None:
        self.closed = True

    def drain(self) -> list[np.ndarray]:
        return [self._noise[:1920, None]]

    def trouble(self) -> AudioError | None:
        return self._trouble

    def record(self, parts, seconds: float, cancel: threading.Event, told=None) -> tuple[Recording | None, ...]:
        (part,) = parts
        act = self.script.pop(0) if self.script else "ok"
        self.recording.set()
        if act == "full":
            raise AudioError(f"{part.name}: cannot be written (No space left on device); make room on the disk")
        started = datetime.now(UTC)
        length = 0.4 if act == "lost" else seconds
        cancelled = False
        with PartWriter(part, PartHeader(RATE_HZ, self.name, started)) as writer:
            for _ in range(round(length * 10)):
                if act == "slow":
                    cancelled = cancel.wait(0.05)
                if cancelled or cancel.is_set():
                    cancelled = True
                    break
                writer.write(self._noise, 0)
            frames = writer.frames
        self.recording.clear()
        if act == "lost":
            self._trouble = DeviceLost("fake microphone went away; plug it in again")
            raise DeviceLost("fake microphone went away after 0.4 s; what had arrived is kept")
        self.recorded.append(part)
        return (Recording(part, frames / RATE_HZ, cancelled),)


class FakeMany(FakeSource):
    """Several channels, a noise each; ``dies``: channels that go in mid-take, ``mute``: silent from the start."""

    def __init__(self, channels: int = 4) -> None:
        super().__init__()
        self.channels = channels
        self.dies: set[int] = set()
        self.mute: set[int] = set()
        self.colours = list(range(channels))
        self._tap: int | None = None
        white = np.random.default_rng(2).standard_normal((channels, RATE_HZ // 10))
        octaves = np.log2(np.fft.rfftfreq(white.shape[1], 1 / RATE_HZ) + 50)
        tilts = [np.exp(-((octaves - np.log2(150 * 3**c)) ** 2) / 4) for c in range(channels)]
        made = [np.fft.irfft(np.fft.rfft(w) * t, len(w)) for w, t in zip(white, tilts, strict=True)]
        self.noises = np.stack([m / m.std() * 1e-2 for m in made]).astype(np.float32)

    def tap(self, channel: int) -> None:
        self._tap = channel

    def drain(self) -> list[np.ndarray]:
        every = self.noises[self.colours].T[:1920].copy()
        every[:, list(self.mute)] = 0.0
        if self._tap is not None:
            every[:200, self._tap] = 0.5
            self._tap = None
        return [every]

    def record(self, parts, seconds, cancel, told=None):
        if len(parts) == 1:
            return super().record(parts, seconds, cancel, told)
        started = datetime.now(UTC)
        out: list[Recording | None] = []
        for c, part in enumerate(parts):
            if part is None:
                out.append(None)
                continue
            with PartWriter(part, PartHeader(RATE_HZ, self.name, started)) as writer:
                for _ in range(round(seconds * 10)):
                    writer.write(self.noises[c], 0)
            if c in self.dies and told is not None:
                told(c, f"channel {c + 1} sends nothing but zeros; the other channels are kept")
            done = Recording(part, seconds)
            out.append(None if c in self.dies else done)
            self.recorded.append(part)
        return tuple(out)


def settled(value: object) -> Future:
    future: Future = Future()
    future.set_result(value)
    return future


class FakeAnalyst:
    """Keeps every clip unless told to refuse; judges every round as an intake valve."""

    def __init__(self, refuse: set[int] | None = None) -> None:
        self.refuse = refuse or set()
        self.checked: list[tuple[Path, Path | None]] = []
        self.judged = 0

    def check(self, path: Path, at: str, quiet: Path | None, on_s: tuple = ()) -> Future:
        self.checked.append((path, quiet))
        if len(self.checked) in self.refuse:
            flag = Flag(
                flag="clipping", value=12, limit=0, text="12 samples are clipped; turn the input down.", reject=True
            )
            return settled(ClipCheck(kept=False, flags=(flag,), excess_db=None, seconds=1.0))
        return settled(ClipCheck(kept=True, flags=(), excess_db=None if quiet is None else 4.2, seconds=1.0))

    def evaluate(self, round_) -> Future:
        self.judged += 1
        points = sorted({t.point for t in round_.takes})
        return settled(result_for(points, round_.name))

    def close(self) -> None:
        pass


def result_for(points: list[str], name: str = "round") -> RoundResult:
    """A result in which the intake is loud."""
    return RoundResult(
        round=name,
        points=tuple(point_result(p, 9.8 if p == "intake" else 0.1) for p in points),
        paths=(
            PathResult(
                path="intake-valve",
                probability=0.94,
                evidence_db={"prior": -8.0, "intake": 17.1, "tailpipe": 1.9, "loss": 1.0},
                involved=0.95,
            ),
            PathResult(
                path="exhaust-valve", probability=0.03, evidence_db={"prior": -8.0, "intake": -7.1}, involved=0.03
            ),
            PathResult(path="none", probability=0.03, evidence_db={"prior": 0.0, "intake": -15.1}, involved=0.03),
        ),
        verdict=Verdict(
            kind="path",
            paths=("intake-valve",),
            probability=0.94,
            text="The intake valve leaks, 19 to 1 on.",
            next="A second air clip at the tailpipe would help most.",
            next_point="tailpipe",
            next_kind="air",
        ),
    )


def point_result(point: str, excess: float) -> PointResult:
    """One point with a plain interval."""
    return PointResult(
        point=point,
        excess_db=excess,
        excess_ci95_db=(excess - 0.5, excess + 0.5),
        level_db=-60.0,
        level_is_upper_bound=excess < 3,
        level_unit="dBFS",
        detected=excess > 1,
        detection_limit_db=0.8,
        drift_db=0.3,
        bubbles_per_s=BubbleRates(0.0, 0.0),
    )


class FakePlayer:
    """Remembers what was played."""

    def __init__(self) -> None:
        self.played: list[tuple[str, float]] = []
        self.playing = False

    def play(self, clip, gain_db: float = 0.0) -> None:
        self.played.append((clip.name, time.monotonic()))

    def stop(self) -> None:
        self.playing = False


class FakeServices(Services):
    """All of the above, in a folder of the test."""

    def __init__(self, root: Path, source: FakeSource | None = None, analyst: FakeAnalyst | None = None) -> None:
        super().__init__(root / "jobs")
        self._root = root
        self.fake_source = source or FakeSource()
        self.fake_analyst = analyst or FakeAnalyst()
        self.fake_player = FakePlayer()
        self.key = None

    def shop_key(self):
        return self.key

    def preferences_path(self) -> Path:
        return self._root / "screens.json"

    def source(self, cylinder=None, name=None, *, every=False) -> FakeSource:
        return self.fake_source

    def analyst(self) -> FakeAnalyst:
        return self.fake_analyst

    def player(self) -> FakePlayer:
        return self.fake_player

    def tones(self, preferences: Preferences) -> Tones:
        return Tones(self.fake_player)


QUICK = Preferences(before_s=0.0, clip_s=1.0, move_s=0.0, air_s=0.0)
