"""Bubbles in the radiator: onsets of single decaying tones between 0.3 and 4 kHz, as times and frequencies.

A bubble of radius R rings at f0 = 3.26 m/s / R (Minnaert 1933) with Q = pi f0 tau of about 10-60: it starts at once,
is one tone, and is gone after a few tens of milliseconds. A click or a ratchet is broad, a clank has several modes or
rings on, speech has harmonics and lasts, a hiss has no onsets.

Symbols: P[t, k] power, B[t, k] background of the same bin shortly before, R = P/B; tau amplitude decay time.
Everything is relative to the background, so gain changes nothing.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from listen.signal.clip import Clip, Sound
from listen.signal.spectra import frame_power

LOW_HZ, HIGH_HZ = 300.0, 4_000.0
"""Bubbles of 11 down to 0.8 mm radius."""
WORK_RATE_HZ = 12_000
"""Rate analysed at: the band to 4 kHz, and 2 kHz above it to see a click's breadth."""
TAPS_PER_PHASE = 12
"""Length of the decimating filter in samples of the new rate."""
FRAME_S, HOP_S = 0.0107, 0.00267
"""Frame short against the longest decay, hop short against the shortest."""
ONSET_DB = 13.0
"""Rise of a cell over its background. In Gaussian noise a cell exceeds its mean so far with exp(-32)."""
BEFORE_FRAMES, GAP_FRAMES = 8, 5
"""Background: the mean of 8 frames (21 ms) before the onset, leaving one frame length out."""
NEAR_BINS = 2
"""The tone's own bins to either side: Hann main lobe and a chirp of some 100 Hz."""
MIN_PURITY = 0.8
"""Share of the onset's power that lies in the tone's own bins."""
LOUD_CELL = 6.0
"""Other cells count against purity from this many times their background on."""
MIN_TAU_S, MAX_TAU_S = 0.0025, 0.030
"""Decay times taken: ring-down 6-22 ms (Q 30-47) with room for damped and for large bubbles."""
MIN_Q, MAX_Q = 12.0, 75.0
"""Q 30-47, with room for what a 10.7 ms frame does to the estimate."""
MIN_RISE_DB, RISE_FRAMES = 6.0, 3
"""A bubble starts at once: so much above the level 8 ms earlier. Speech and modulated motors swell."""
MIN_FALL_DB, GONE_FRAMES = 4.0, (11, 18)
"""And it is gone: for 29-48 ms after it no frame reaches within this of the onset."""
TRACK_FRAMES = 20
"""Longest stretch, 53 ms, over which the decay is followed."""
MIN_TRACK = 3
"""Fewest frames for a decay to be fitted."""
TRACK_FLOOR = 2.0
"""The decay is followed down to this many times the background."""
MAX_RIPPLE_DB = 3.0
"""Residual of the straight line through the decay in dB: beats and sustained sounds ripple more."""
APART_S = 0.025
"""Two onsets nearer than this at nearly one frequency are one event."""


@dataclass(frozen=True, slots=True, eq=False)
class BubbleEvents:
    """Bubble sounds in a clip, in order of time."""

    times_s: NDArray[np.float64]
    """Onsets [shape=(n,)]."""
    freqs_hz: NDArray[np.float64]
    """Frequency of each tone [shape=(n,)]."""

    @property
    def count(self) -> int:
        return len(self.times_s)


STRETCH_FRAMES = 8192
"""Short frames of a long clip looked at together, 22 s."""
BEFORE, AFTER = BEFORE_FRAMES + GAP_FRAMES, TRACK_FRAMES + 2
"""Frames about an onset that are looked at."""


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Short-time powers of part of a clip."""

    power: NDArray[np.float32]
    first: int
    """Number of its first frame in the clip."""
    own: slice
    """Frames whose onsets are looked for here; those around them belong to the stretches beside it."""


def bubble_events(clip: Sound) -> BubbleEvents:
    """Find bubble sounds in a clip of any rate; only what lies below 6 kHz is looked at."""
    rate, n, hop = _work(clip.rate_hz)
    # Gone through twice, for the usual levels and for the onsets: a long clip, whose powers would not fit, is
    # transformed each time.
    held = list(_stretches(clip)) if isinstance(clip, Clip) else None
    # Every fourth frame counted from the clip's start, so that it does not matter where stretches were cut.
    thinned = [s.power[s.own][-(s.first + s.own.start) % 4 :: 4].copy() for s in held or _stretches(clip)]
    if sum(map(len, thinned)) < 1:
        return BubbleEvents(np.empty(0), np.empty(0))
    usual = _usual(thinned)
    found = [_events(s, usual, hop / rate, rate / n) for s in held or _stretches(clip)]
    times_s, freq = (np.concatenate([f[i] for f in found]) for i in (0, 1))
    keep = _apart(times_s, freq)
    return BubbleEvents(times_s[keep], freq[keep])


def _work(rate_hz: int) -> tuple[float, int, int]:
    """Rate worked at, samples a frame and a hop of it."""
    rate = rate_hz / _every(rate_hz)
    # A power of two for the transform; a whole number of samples for the hop.
    return rate, int(2 ** round(np.log2(rate * FRAME_S))), max(1, round(rate * HOP_S))


def _every(rate_hz: int) -> int:
    # A whole factor: only every q-th sample is then worked out.
    return max(1, round(rate_hz / WORK_RATE_HZ))


def _stretches(clip: Sound) -> Iterator[_Stretch]:
    q, (_, n, hop) = _every(clip.rate_hz), _work(clip.rate_hz)
    # What an onset at either end of a stretch looks back and forward to belongs to the stretch beside it.
    more = q * ((BEFORE + AFTER) * hop + n - hop + (TAPS_PER_PHASE - 1 if q > 1 else 0))
    for start, own, samples in clip.stretches(q * hop * STRETCH_FRAMES, more):
        power = _fine_power(_decimated(samples, q), n, hop)
        first, last = start // (q * hop), start + own >= clip.frames or len(samples) < own + more
        # The frames before were the last stretch's own; the first has none before it.
        begin = BEFORE if first else 0
        end = len(power) if last else min(len(power), STRETCH_FRAMES + BEFORE)
        if begin < end:
            yield _Stretch(power, first, slice(begin, end))
        if last:
            return


def _events(
    s: _Stretch, usual: NDArray[np.float32], hop_s: float, bin_hz: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Times and frequencies of the onsets among a stretch's own frames."""
    power = s.power
    if len(power) <= BEFORE + MIN_TRACK:
        return np.empty(0), np.empty(0)
    background = _background(power, usual)
    t, k = _onsets(power, background, bin_hz)
    # Each onset once: the frames about a stretch are there to be looked back and forward to, and are another's own.
    mine = (t >= s.own.start) & (t < s.own.stop)
    t, k = t[mine], k[mine]
    # The tests over all onsets at once come first: the decay is fitted one onset at a time, and a clattering shop has
    # thousands.
    pure = (_purity(power[t], background[t], k) >= MIN_PURITY) & _sudden(power, t, k)
    pairs = zip(t[pure], k[pure], strict=True)
    good = [(a, b) for a, b in pairs if _decays_as_bubble(power, background[a], a, b, hop_s, bin_hz)]
    t, k = np.array(good, dtype=np.intp).reshape(-1, 2).T
    return np.asarray((t + s.first) * hop_s + FRAME_S / 2, dtype=np.float64), _centre_hz(power, t, k, bin_hz)


def _decimated(samples: NDArray[np.float32], q: int) -> NDArray[np.float32]:
    """Samples at about ``WORK_RATE_HZ``: every q-th value of a windowed-sinc low-pass, by its q phases."""
    if q == 1:
        return samples
    phases = _low_pass(q).reshape(TAPS_PER_PHASE, q)
    # By phases, only the samples that are kept are worked out: the whole filter would cost q times as much.
    rows = samples[: len(samples) // q * q].reshape(-1, q)
    parts = phases @ rows.T
    n = max(0, len(rows) - TAPS_PER_PHASE + 1)
    y = np.zeros(n, dtype=np.float32)
    for j in range(TAPS_PER_PHASE):
        y += parts[j, j : j + n]
    return y


@cache
def _low_pass(q: int) -> NDArray[np.float32]:
    """Hann-windowed sinc, 6 dB down at half the new rate: what folds over ends up above ``HIGH_HZ``."""
    n = TAPS_PER_PHASE * q
    i = np.arange(n) - (n - 1) / 2
    # Without the two zeros at the window's ends, which would be taps for nothing.
    h = np.sinc(i / q) * np.hanning(n + 2)[1:-1]
    return np.asarray(h / h.sum(), dtype=np.float32)


def _fine_power(x: NDArray[np.float32], n: int, hop: int) -> NDArray[np.float32]:
    """Power in short Hann frames [shape=(T, K)]."""
    if len(x) < n:
        return np.empty((0, n // 2 + 1), dtype=np.float32)
    # Periodic: the last sample of a symmetric window would be the first of the next frame again.
    return frame_power(x, np.hanning(n + 1)[:n].astype(np.float32), hop)


def _usual(thinned: list[NDArray[np.float32]]) -> NDArray[np.float32]:
    """Each bin's own long-term level [shape=(K,)], from every fourth frame of the clip."""
    by_bin = np.ascontiguousarray(np.concatenate(thinned).T)
    ranks = (len(by_bin[0]) // 2, 3 * len(by_bin[0]) // 4)
    # Partly sorted: of a long clip only two ranks are wanted.
    by_bin.partition(ranks, axis=1)
    middle, upper = by_bin[:, ranks].T
    # Both turned into the mean they stand for in Gaussian noise (power is exponential there); the larger, so that a
    # bin in which something comes and goes is not taken for quiet.
    return np.asarray(np.maximum(middle / np.log(2.0), upper / np.log(4.0)) + 1e-30).astype(np.float32)


def _background(power: NDArray[np.float32], usual: NDArray[np.float32]) -> NDArray[np.float32]:
    """B: the mean shortly before, never below the bin's own long-term level [shape=(T, K)]."""
    total = power
    for span in (1, 2, 4):  # sums over 8 frames by doubling
        total = total[:-span] + total[span:]
    before = np.empty_like(power)
    start = BEFORE_FRAMES + GAP_FRAMES - 1
    before[start:] = total[: len(power) - start]
    # Nothing lies before the first frames; they are only looked back to.
    before[:start] = total[0]
    before *= np.float32(1 / BEFORE_FRAMES)
    np.maximum(before, usual, out=before)
    return before


def _onsets(
    power: NDArray[np.float32], background: NDArray[np.float32], bin_hz: float
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Frames and bins where R has a peak above ``ONSET_DB`` in the bubbles' band."""
    low, high = int(np.ceil(LOW_HZ / bin_hz)), int(HIGH_HZ / bin_hz) + 1
    factor = np.float32(10 ** (ONSET_DB / 10))
    t, k = np.nonzero(power[:, low:high] > factor * background[:, low:high])
    k = k + low
    # Onsets that can be followed and have a bin on either side, for the peak and for the parabola through it.
    inside = (t >= BEFORE_FRAMES + GAP_FRAMES) & (t < len(power) - MIN_TRACK) & (k >= 1) & (k < power.shape[1] - 1)
    t, k = t[inside], k[inside]
    if len(t) == 0:
        return t, k
    here = power[t, k]
    peak = np.ones(len(t), dtype=bool)
    # One onset lights up several frames and bins: its highest cell stands for it.
    for dt in (-2, -1, 0, 1, 2):
        for dk in (-2, -1, 0, 1, 2):
            other = power[np.clip(t + dt, 0, len(power) - 1), np.clip(k + dk, 0, power.shape[1] - 1)]
            peak &= here >= other
    return t[peak], k[peak]


def _sudden(power: NDArray[np.float32], t: NDArray[np.intp], k: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Which tones start at once and are gone soon after [shape=(n,)]."""

    def tone(frame: NDArray[np.intp]) -> NDArray[np.float32]:
        return np.asarray(power[frame, k] + power[frame, k - 1] + power[frame, k + 1])

    now = tone(t)
    last = len(power) - 1
    after = np.max([tone(np.minimum(t + d, last)) for d in range(*GONE_FRAMES)], axis=0)
    risen = now > 10 ** (MIN_RISE_DB / 10) * tone(t - RISE_FRAMES)
    return np.asarray(risen & (now > 10 ** (MIN_FALL_DB / 10) * after))


def _purity(now: NDArray[np.float32], before: NDArray[np.float32], k: NDArray[np.intp]) -> NDArray[np.float32]:
    """Share of the power new at each onset that lies in the tone's own bins; ``now``, ``before`` [shape=(n, K)]."""
    new = np.where(now > LOUD_CELL * before, now - before, np.float32(0.0))
    away = np.abs(np.arange(new.shape[1])[None, :] - k[:, None])
    near = np.where(away <= NEAR_BINS, new, np.float32(0.0)).sum(axis=1)
    # The lowest two bins hold rumble, which says nothing of a click's breadth.
    return np.asarray(near / np.maximum(new[:, 2:].sum(axis=1), np.float32(1e-30)), dtype=np.float32)


def _decays_as_bubble(
    power: NDArray[np.float32], before: NDArray[np.float32], t: int, k: int, hop_s: float, bin_hz: float
) -> bool:
    """Whether the tone from frame ``t`` on in bin ``k`` dies with the tau and Q of a bubble."""
    # The peak's bin and one to either side: most of a Hann window's main lobe.
    near = slice(max(0, k - 1), k + 2)
    tau = _decay_s(power[t : t + TRACK_FRAMES, near].sum(axis=1), float(before[near].sum()), hop_s)
    return MIN_TAU_S <= tau <= MAX_TAU_S and MIN_Q <= np.pi * k * bin_hz * tau <= MAX_Q


def _decay_s(track: NDArray[np.float32], floor: float, hop_s: float) -> float:
    """tau from a straight line through the level of ``track``; 0 where it is not straight or too short."""
    low = np.flatnonzero(track < TRACK_FLOOR * floor)
    n = int(low[0]) if len(low) else len(track)
    if n < MIN_TRACK:
        return 0.0
    # Never below nought: all that is followed stands at twice the floor and more.
    level = 10 * np.log10(track[:n] - floor)
    i = np.arange(n) - (n - 1) / 2
    slope = float(i @ level) / float(i @ i)
    if slope >= 0 or float(np.std(level - slope * i)) > MAX_RIPPLE_DB:
        return 0.0
    # The amplitude's decay time: power, as the level shows it, dies twice as fast.
    return float(20 / np.log(10) * hop_s / -slope)


def _centre_hz(
    power: NDArray[np.float32], t: NDArray[np.intp], k: NDArray[np.intp], bin_hz: float
) -> NDArray[np.float64]:
    """Frequency of each peak by a parabola through three bins' logarithms."""
    a, b, c = (np.log(power[t, k + d].astype(np.float64) + 1e-30) for d in (-1, 0, 1))
    bend = a - 2 * b + c
    # Only where the three bins make a peak: else the parabola has its turn anywhere.
    shift = np.where(bend < 0, 0.5 * (a - c) / np.where(bend < 0, bend, 1.0), 0.0)
    return np.asarray((k + shift) * bin_hz, dtype=np.float64)


def _apart(times_s: NDArray[np.float64], freq_hz: NDArray[np.float64]) -> list[int]:
    """Indices of events with doubles left out, in order of time."""
    kept: list[int] = []
    for i in np.argsort(times_s, kind="stable"):
        # Four are enough: bubbles come by the dozen a second at most.
        near = [j for j in kept[-4:] if times_s[i] - times_s[j] < APART_S]
        if not any(abs(np.log2(freq_hz[i] / freq_hz[j])) < 0.25 for j in near):
            kept.append(int(i))
    return kept
