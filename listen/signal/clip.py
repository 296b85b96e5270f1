"""One recording at one listening point: read-only samples with the particulars needed to trust them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from listen.errors import ClipError

MIN_RATE_HZ = 8_000
MAX_RATE_HZ = 192_000
"""Sample rates taken; below 32 kHz a flag says what is lost (METHOD section 8)."""

MAX_SAMPLE = 1e10
"""Largest sample taken, in full scales: above 32-bit integers written as they are into a floating-point file; the
squares of larger ones would leave the range of float32."""


class Sound(Protocol):
    """What is measured: a clip in memory, or a long one that is read from its file stretch by stretch."""

    # Properties, not plain attributes: a frozen clip has nothing that could be set.
    @property
    def rate_hz(self) -> int: ...

    @property
    def device(self) -> str: ...

    @property
    def gain_db(self) -> float | None: ...

    @property
    def overflows(self) -> int: ...

    @property
    def name(self) -> str: ...

    @property
    def coded(self) -> str: ...

    @property
    def frames(self) -> int:
        """Samples in all."""

    @property
    def seconds(self) -> float:
        """Length in seconds."""

    def stretches(self, step: int, more: int = 0) -> Iterator[tuple[int, int, NDArray[np.float32]]]:
        """All samples in order: where a stretch begins, how many are its own, and those with ``more`` that follow
        [shape=(<= step + more,)].

        A clip in memory is one stretch, of a long one each has ``step``. Nothing may depend on where they are cut.
        """

    def part(self, start: int, stop: int) -> NDArray[np.float32]:
        """Samples from one to before another, in full scales [shape=(stop - start,)]."""


@dataclass(frozen=True, slots=True, eq=False)
class Clip:
    """Samples and particulars of one take. Make one with :meth:`Clip.of`, which checks and freezes.

    Raises ClipError: from :meth:`of`: no samples, not one-dimensional, NaN or infinity, rate outside 8-192 kHz."""

    samples: NDArray[np.float32]
    """Sound pressure in full scales [shape=(n,)], read-only."""
    rate_hz: int
    taken: datetime | None = None
    """When the take began, with time zone, if known."""
    device: str = ""
    """Name of the input it came from, if known."""
    gain_db: float | None = None
    """Input gain, if the device tells it."""
    overflows: int = 0
    name: str = ""
    """File or id it goes by, for messages."""
    coded: str = ""
    """Coding it was stored in before it came here, for example ``MP3``; empty where samples came as they were taken."""

    @classmethod
    def of(
        cls,
        samples: ArrayLike,
        rate_hz: int,
        *,
        taken: datetime | None = None,
        device: str = "",
        gain_db: float | None = None,
        overflows: int = 0,
        name: str = "",
        coded: str = "",
        copy: bool = True,
    ) -> Clip:
        """Check, convert to float32, freeze. ``samples`` [shape=(n,)] in full scales, ``rate_hz`` in Hz.

        With ``copy`` false an array of float32 is adopted: the caller gives it up, and it is frozen in place.
        """
        where = name or "clip"
        # A copy unless it is given up: whoever still holds the samples could change what was checked.
        x = np.array(samples, dtype=np.float32) if copy else np.asarray(samples, dtype=np.float32)
        if x.ndim != 1:
            raise ClipError(f"{where}: {x.ndim}-dimensional samples; one channel is needed, choose it first")
        if x.size == 0:
            raise ClipError(f"{where}: holds no samples; record it again")
        # Largest and least, no array of magnitudes: a long clip would be copied for it.
        peak = float(np.maximum(x.max(), -x.min()))  # NaN and infinity come through both
        if not np.isfinite(peak):
            bad = int(np.flatnonzero(~np.isfinite(x))[0])
            raise ClipError(f"{where}: sample {bad} is not a finite number; the file is damaged, record again")
        if peak > MAX_SAMPLE:
            raise ClipError(f"{where}: samples up to {peak:.0e} times full scale; the file is damaged, record again")
        if not MIN_RATE_HZ <= rate_hz <= MAX_RATE_HZ:
            raise ClipError(
                f"{where}: sample rate {rate_hz} Hz; from {MIN_RATE_HZ} to {MAX_RATE_HZ} Hz can be measured"
            )
        x.flags.writeable = False
        return cls(x, int(rate_hz), taken, device, gain_db, overflows, name, coded)

    @property
    def frames(self) -> int:
        return len(self.samples)

    @property
    def seconds(self) -> float:
        return len(self.samples) / self.rate_hz

    def stretches(self, step: int, more: int = 0) -> Iterator[tuple[int, int, NDArray[np.float32]]]:
        """All of it at once; see :class:`Sound`."""
        yield 0, len(self.samples), self.samples

    def part(self, start: int, stop: int) -> NDArray[np.float32]:
        """See :class:`Sound`."""
        return self.samples[start:stop]
