"""A microphone that hears a simulated round, in real time or faster: the same interface as a real one, no PortAudio.

Three activities meet here: a worker thread records (:meth:`SimulatedMicrophone.record`), the screen drains blocks for
its meter, and what a switched take will hear is made while whoever works gets ready, so that sound and count agree.
They share a deque (one appends, one pops; both atomic) and where it is held, a tuple replaced whole; a take waits for
its sound.
"""

import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from listen.audio.headers import PartHeader
from listen.audio.take import Recording, Told
from listen.audio.write import PartWriter
from listen.errors import AudioError, refusal
from listen.lab.simulator.render import TakeKey, render
from listen.lab.simulator.scene import GENERATOR, PointSpec, RoundSpec, Switched, TakeSpec
from listen.lab.simulator.switching_hand import Spans
from listen.signal.clip import Clip
from listen.trade.points import Kind, point

BLOCK_S = 0.02
"""Length of the blocks handed over, as a real microphone's."""
METER_BACKLOG = 100
"""Blocks kept for a meter that does not ask; older ones go."""
LATE_S = 0.3
"""A hand at the valve after the command."""
DECAY_S = 0.2
"""Hiss dying away after shut-off: a leak of some ten percent and half a litre behind the valve."""
IDLE_S = 3.0
"""Length of the loop heard between takes."""


class SimulatedMicrophone:
    """Implements :class:`listen.audio.microphone.SoundInput` over a :class:`RoundSpec`.

    A point that ``spec`` does not name hears the shop only. ``pace`` is the speed: 1 is real time, 20 twenty times
    faster, 0 without waiting (tests). So many ``channels`` hang on the input; which lies where, :meth:`hold_at` says.
    """

    def __init__(
        self,
        spec: RoundSpec,
        *,
        pace: float = 1.0,
        clock: Callable[[], datetime] = lambda: datetime.now(UTC),
        channels: int = 1,
    ) -> None:
        self._spec, self._pace, self._clock, self.channels = spec, pace, clock, channels
        self.name, self.rate_hz = f"{spec.microphone.name} ({GENERATOR})", spec.rate_hz  # as its rendered clips say
        self._places: tuple[str, ...] = tuple(p.point for p in spec.points)
        self._tap: int | None = None
        self._held_at: tuple[str, Kind] = (self._places[0], Kind.QUIET)
        self._on_s: Spans = ()
        self._taken: dict[tuple[str, Kind], int] = {}
        self._clips: dict[tuple[float, TakeKey], Clip] = {}
        self._meter: deque[NDArray[np.float32]] = deque(maxlen=METER_BACKLOG)
        self._is_open = False
        self._recording = False
        self._idle_since = time.monotonic()
        self._idle_at = 0
        self._made = threading.Thread(target=self._make, daemon=True)

    def open(self) -> None:
        self._is_open = True
        self._idle_since = time.monotonic()

    def close(self) -> None:
        """Stop listening, and forget what was rendered: whoever closed it may hold it much longer."""
        self._is_open = False
        self._meter.clear()
        self._clips = {}

    def trouble(self) -> AudioError | None:
        """None: a simulated microphone is never unplugged."""
        return None

    def hold_at(self, places: Sequence[str], kind: Kind, on_s: Spans = ()) -> None:
        """Hold a microphone at each of these points (empty: unused), with the cylinder in the state of ``kind``.

        In a switched take the air follows ``on_s`` as a hand does: a little late, and dying away after shut-off.
        """
        self._places = tuple(p and point(p).id for p in places)
        first = next(p for p in self._places if p)
        # Between two switched takes the air is off.
        self._held_at, self._on_s = (first, Kind.QUIET if kind == Kind.SWITCHED else kind), on_s
        if self._on_s and not self._made.is_alive():
            self._made = threading.Thread(target=self._make, daemon=True)
            self._made.start()

    def _make(self) -> None:
        for at in {*self._places} - {""}:
            self._switched(at, self._on_s[-1][1] + self._on_s[0][0])

    def tap(self, channel: int) -> None:
        self._tap = channel

    def drain(self) -> list[NDArray[np.float32]]:
        """Blocks since the last call; between takes, what is heard where it is held, of several the quiet."""
        if self._is_open and not self._recording:
            self._idle()
        blocks = [self._meter.popleft() for _ in range(len(self._meter))]
        if blocks and self._tap is not None:
            # A finger on one capsule: a step that no other channel has.
            blocks[-1][: len(blocks[-1]) // 4, self._tap % self.channels] = 0.5
            self._tap = None
        return blocks

    def _by_channel(self) -> tuple[str, ...]:
        return (*self._places, *("" for _ in range(self.channels)))[: self.channels]

    def _idle(self) -> None:
        now = time.monotonic()
        speed = self._pace or 1.0
        due = min(int((now - self._idle_since) * speed / BLOCK_S), METER_BACKLOG)
        if not due:
            return
        self._idle_since = now
        size = round(BLOCK_S * self.rate_hz)
        first, kind = self._held_at
        kind = kind if self.channels == 1 else Kind.QUIET
        loops = [self._clip(at or first, kind, 1, IDLE_S) for at in self._by_channel()]
        for _ in range(due):
            self._meter.append(np.stack([loop[self._idle_at : self._idle_at + size] for loop in loops], axis=1))
            # Round again a block before the end, so that every block is whole.
            self._idle_at = (self._idle_at + size) % (len(loops[0]) - size)

    def record(
        self, parts: Sequence[Path | None], seconds: float, cancel: threading.Event, told: Told | None = None
    ) -> tuple[Recording | None, ...]:
        """Write the next take at each place to its own part; see the protocol."""
        if not self._is_open:
            raise AudioError(f"{self.name} is not open; open it first")
        kind = Kind.SWITCHED if self._on_s else self._held_at[1]
        written = {c: p for c, p in enumerate(parts) if p is not None}
        places = {c: self._by_channel()[c] for c in written}
        orders = {at: self._taken.get((at, kind), 0) + 1 for at in places.values()}
        if self._on_s and self._made.is_alive():
            self._made.join()  # the count that leads the hand begins with the sound, not before it is made
        made = {
            c: self._switched(at, seconds) if self._on_s else self._clip(at, kind, orders[at], seconds)
            for c, at in places.items()
        }
        names = " and ".join(p.name for p in written.values())
        self._recording = True
        try:
            with refusal(AudioError, f"{names}: cannot be written", "choose another folder"):
                done = self._play(written, made, cancel)
        finally:
            self._recording = False
            self._idle_since = time.monotonic()
        self._taken |= {(at, kind): order for at, order in orders.items()}
        return tuple(done.get(c) for c in range(len(parts)))

    def _play(
        self, parts: dict[int, Path], made: dict[int, NDArray[np.float32]], cancel: threading.Event
    ) -> dict[int, Recording]:
        """Hand each channel's sound over block by block, as time goes by, until the end or until it is cancelled."""
        size = round(BLOCK_S * self.rate_hz)
        started, began = self._clock(), time.monotonic()
        cancelled = False
        with ExitStack() as stack:
            header = PartHeader(self.rate_hz, self.name, started)
            writers = {c: stack.enter_context(PartWriter(part, header)) for c, part in parts.items()}
            first = next(iter(made.values()))
            for at in range(0, len(first), size):
                # Blocks come when they are due, not one pause after another: pauses would add up to a late end.
                due_s = began + at / self.rate_hz / self._pace - time.monotonic() if self._pace else 0.0
                if cancelled := cancel.wait(max(0.0, due_s)):
                    break
                for c, writer in writers.items():
                    writer.write(made[c][at : at + size], 0)
                every = [made.get(c, first)[at : at + size] for c in range(self.channels)]
                self._meter.append(np.stack(every, axis=1))
        return {c: Recording(parts[c], w.frames / self.rate_hz, cancelled) for c, w in writers.items()}

    def _switched(self, at: str, seconds: float) -> NDArray[np.float32]:
        """A switched take as a hand turns the valve; of all points at once, and nothing else of the round."""
        order = self._taken.get((at, Kind.SWITCHED), 0) + 1  # a take once more is another sound
        turned = Switched(on_s=tuple((a + LATE_S, b + LATE_S) for a, b in self._on_s), decay_s=DECAY_S, together=True)
        take = TakeSpec(kind=Kind.SWITCHED, order=order, seconds=seconds, switched=turned)
        return self._heard((at, Kind.SWITCHED, order), seconds, lambda p: (take,))

    def _clip(self, at: str, kind: Kind, order: int, seconds: float) -> NDArray[np.float32]:
        """A take of the round, as long as is wanted; where it has no such take, with those up to it."""

        def takes(p: PointSpec) -> tuple[TakeSpec, ...]:
            own = [replace(t, seconds=seconds) for t in p.takes]
            missing = set(range(1, order + 1)) - {t.order for t in own if t.kind == kind} if p.point == at else ()
            return (*own, *(TakeSpec(kind=kind, order=k, seconds=seconds) for k in sorted(missing)))

        return self._heard((at, kind, order), seconds, takes)

    def _heard(
        self, key: TakeKey, seconds: float, takes: Callable[[PointSpec], tuple[TakeSpec, ...]]
    ) -> NDArray[np.float32]:
        """A clip of one point, rendered once with what all points have for takes."""
        if (seconds, key) not in self._clips:
            points, at = self._spec.points, key[0]
            if at not in (p.point for p in points):
                points = (*points, PointSpec(point=at, takes=(TakeSpec(kind=Kind.QUIET, order=1, seconds=seconds),)))
            points = tuple(replace(p, takes=takes(p)) for p in points)
            made = render(replace(self._spec, points=points))
            self._clips |= {(seconds, k): clip for k, clip in made.items()}
        return self._clips[seconds, key].samples
