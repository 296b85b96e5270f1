"""Short-time power spectra of one clip: computed once, read by everything that measures it.

Symbols: T frames, K bins, N samples a frame, H hop. Power is one-sided, scaled so that the sum over bins is the
mean square of a frame's samples (window power removed).
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from listen.errors import ClipError
from listen.signal.clip import Clip, Sound

FRAME_S = 0.0427
"""Frame length aimed at: 2048 samples at 48 kHz. Long enough for 10 bins in the 1 kHz third octave, short enough
that a 10 ms knock spoils three frames only (METHOD section 2)."""
BLOCK_SAMPLES = 1 << 16
"""Samples transformed at once: they stay in the processor's cache."""
TINY = np.float32(1e-20)
"""Added to powers before logarithms: -200 dB, below any recorder."""
STRETCH_FRAMES = 512
"""Frames of a long clip held at once: 11 s, 2 MB of powers at 48 kHz."""
Reduce = Callable[[NDArray[np.float32]], NDArray[Any]]


# No slots: cached_property keeps what it found in the instance's own dictionary.
@dataclass(frozen=True, eq=False)
class Spectra:
    """Short-time power spectra of a clip; what several readers derive from them is computed once, when first asked.

    Those of a long clip are never held together (:class:`LongSpectra`): read them by :meth:`by_frame` and
    :meth:`mean_over`, which give the same digits either way.
    """

    power: NDArray[np.float32]
    """One-sided power per frame and bin, full scale squared [shape=(T, K)], read-only."""
    freq_hz: NDArray[np.float64]
    """Bin centre frequencies [shape=(K,)]."""
    rate_hz: int
    frame: int
    """N, samples a frame."""
    hop: int
    """H = N/2, samples between frames."""

    @property
    def frame_rate_hz(self) -> float:
        return self.rate_hz / self.hop

    @property
    def frames(self) -> int:
        """T, frames in all."""
        return len(self.power)

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """The powers in order, in blocks of whole frames [shape=(<=T, K)]; all at once where they are held."""
        yield self.power

    def levels(self) -> Iterator[NDArray[np.float32]]:
        """The same blocks in dB re full scale squared."""
        yield self.level_db

    def by_frame(self, reduce: Reduce, *, levels: bool = False) -> NDArray[Any]:
        """What ``reduce`` makes of every frame by itself [shape=(T, ...)], from powers or from levels."""
        return np.concatenate([reduce(block) for block in (self.levels() if levels else self.blocks())])

    def mean_over(self, reduce: Reduce, *, every: int = 1, levels: bool = False) -> NDArray[Any]:
        """Mean over frames, every so many, of what ``reduce`` makes of them [shape=(...)], summed frame after frame."""
        total: NDArray[Any] | None = None
        count = at = 0
        for block in self.levels() if levels else self.blocks():
            rows = reduce(block[-at % every :: every])
            at, count = at + len(block), count + len(rows)
            if total is None:
                total = rows.sum(axis=0)
            elif len(rows):
                # The sum so far as one more row: added in the same order as in one piece, so to the same digits.
                total = np.concatenate([total[None], rows]).sum(axis=0)
        assert total is not None
        return np.asarray(total / count)

    @cached_property
    def level_db(self) -> NDArray[np.float32]:
        """Power in dB re full scale squared [shape=(T, K)]."""
        return level_of(self.power)

    @cached_property
    def mean_level_db(self) -> NDArray[np.float32]:
        """Mean of the frames' levels [shape=(K,)]: the mean of logarithms, on which a knock weighs little."""
        return self.mean_over(lambda level: level, levels=True)

    @cached_property
    def mean_power(self) -> NDArray[np.float64]:
        """Mean of the frames' powers [shape=(K,)]."""
        return np.asarray(self.power.mean(axis=0, dtype=np.float64))


def level_of(power: NDArray[np.float32]) -> NDArray[np.float32]:
    """Powers in dB re full scale squared [shape=(T, K)]."""
    # In place and in float32: a minute's levels are 12 MB as it is.
    level: NDArray[np.float32] = np.log10(power + TINY)
    level *= np.float32(10.0)
    return level


@dataclass(frozen=True, eq=False)
class LongSpectra(Spectra):
    """Spectra of a long clip, computed again whenever they are read; ``power`` holds none of them."""

    sound: Sound | None = None

    @property
    def frames(self) -> int:
        """T, frames in all."""
        assert self.sound is not None
        return (self.sound.frames - self.frame) // self.hop + 1

    def blocks(self) -> Iterator[NDArray[np.float32]]:
        """The powers in order, some frames at a time; no block is short: small matrices multiply to other digits."""
        assert self.sound is not None
        before: NDArray[np.float32] | None = None
        for _, _, samples in self.sound.stretches(STRETCH_FRAMES * self.hop, self.frame - self.hop):
            power = _powers(samples, self.frame) if len(samples) >= self.frame else None
            # The last stretch is joined to the one before it, which is why one block is held back.
            if power is not None and before is not None and len(power) < STRETCH_FRAMES:
                before, power = np.concatenate([before, power]), None
            if power is not None:
                if before is not None:
                    yield before
                before = power
        if before is not None:
            yield before

    def levels(self) -> Iterator[NDArray[np.float32]]:
        return map(level_of, self.blocks())

    @cached_property
    def mean_power(self) -> NDArray[np.float64]:
        # Doubles before the sum, as the mean of a clip held in memory has them.
        return self.mean_over(lambda power: power.astype(np.float64))


def frame_length(rate_hz: int) -> int:
    """Frame length N in samples, the power of two nearest to ``FRAME_S``."""
    return int(2 ** round(np.log2(rate_hz * FRAME_S)))


@cache
def _hann(n: int) -> NDArray[np.float32]:
    # Periodic, not symmetric: only then do frames that overlap by half add up to one everywhere.
    w = np.sin(np.pi * np.arange(n) / n).astype(np.float32) ** 2
    return np.asarray(w / np.sqrt(np.sum(w.astype(np.float64) ** 2)), dtype=np.float32)


def spectra(clip: Sound) -> Spectra:
    """Hann frames at 50 % overlap (94.7 % of the information, Percival & Walden 1993, section 6).

    Raises ClipError: the clip is shorter than two frames."""
    n = frame_length(clip.rate_hz)
    hop = n // 2
    if clip.frames < n + hop:
        raise ClipError(
            f"{clip.name or 'clip'}: {clip.seconds:.3f} s long; at least {(n + hop) / clip.rate_hz:.3f} s is needed"
        )
    freq = np.arange(n // 2 + 1, dtype=np.float64) * (clip.rate_hz / n)
    if not isinstance(clip, Clip):
        return LongSpectra(np.empty((0, n // 2 + 1), np.float32), freq, clip.rate_hz, n, hop, clip)
    return Spectra(_powers(clip.samples, n), freq, clip.rate_hz, n, hop)


def _powers(samples: NDArray[np.float32], n: int) -> NDArray[np.float32]:
    power = frame_power(samples, _hann(n), n // 2)
    # One side of the spectrum: every bin stands for two, but zero and half the rate, which have no twin.
    power *= np.float32(2.0 / n)
    power[:, 0] *= 0.5
    power[:, -1] *= 0.5
    # Cached levels and means would no longer fit powers that somebody changed.
    power.flags.writeable = False
    return power


def frame_power(samples: NDArray[np.float32], window: NDArray[np.float32], hop: int) -> NDArray[np.float32]:
    """Squared magnitudes of windowed frames [shape=(T, N // 2 + 1)], a block of frames at a time.

    SciPy's transform keeps float32 and takes several frames at once: less than half the time of NumPy's.
    """
    from scipy.fft import rfft  # a quarter of a second of import, only when something is measured

    n = len(window)
    # A view: frames that share half their samples are not copied.
    frames = np.lib.stride_tricks.sliding_window_view(samples, n)[::hop]
    power = np.empty((len(frames), n // 2 + 1), dtype=np.float32)
    step = max(1, BLOCK_SAMPLES // n)
    for i in range(0, len(frames), step):
        squares = rfft(frames[i : i + step] * window, axis=1, overwrite_x=True).view(np.float32)
        # Real and imaginary parts lie side by side; squared in place, no complex array is made a second time.
        squares *= squares
        np.add(squares[:, ::2], squares[:, 1::2], out=power[i : i + step])
    return power
