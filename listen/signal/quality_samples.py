"""What is wrong with a clip's samples: clipping, dropouts, repeated blocks, overruns, offset, too short, too low."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.signal.clip import Sound
from listen.signal.flags import Flag

MIN_SECONDS = 2.0
"""Below this a clip costs more than 1.5 dB of detection depth against the usual 4 s: sqrt(2/(B T))."""
REJECT_SECONDS = 0.5
"""Two quarter-second blocks: less leaves nothing to measure a spread from."""
FLAT_SHARES = (1e-4, 2e-2)
"""Samples within this share of the ceiling count as at it: hard clipping, and the rippled tops that resampling or a
limiter makes of it. Never less than ``FLAT_STEPS`` quantisation steps."""
FLAT_STEPS = 1.01
PILE_UP = 2.0
"""How many times more samples lie at the ceiling than in a belt ten times as wide just under it. A sine, the most
crested clean wave, has 1/(sqrt(11) - 1) = 0.43."""
MIN_AT_CEILING = 6
"""Fewer samples at the ceiling happen by chance."""
MIN_CREST_STEPS = 64
"""Below this many steps a crest cannot be told from a flat top; ``too-low`` speaks then."""
REJECT_CLIPPED_SHARE = 0.10
"""Share of tenth-of-a-second stretches touched by clipping at which the spectrum itself is no longer believed."""
STRETCH_S = 0.1
MAX_STUCK_S = 0.005
"""Equal samples in a row: four is the most in 100 clips of real backgrounds (0.1 ms); a lost buffer is 5 ms or more."""
REJECT_STUCK_SHARE = 0.02
"""Share of the clip that is missing at which band powers are off by about 0.1 dB."""
MAX_OFFSET = 0.1
"""Offset over peak: beyond a tenth it eats headroom (about 1 dB) and hints at a wiring or bias fault."""
REPEAT_MIN_S = 0.003
"""Shortest exact repeat called a repeated block; sound card buffers are 3-100 ms."""
REPEAT_MAX_LAG_S = 0.5
"""Longest distance at which an exact repeat is a buffer played twice and not a looped sound file."""
LOW_OVER_STEP_DB = 10.0
"""Quantisation adds 0.4 dB to a level 10 dB above it: below that the steps, not the shop, set the floor."""
MIN_LEVEL_DBFS = -90.0
"""Level of the differenced signal below which no microphone's own noise is left: a dead or muted input."""
STEP_PROBE = 4096
"""Samples looked at to find the quantisation step."""


STRETCH = 1 << 19
"""Samples of a long clip looked at together: 11 s at 48 kHz."""


@dataclass(frozen=True, slots=True)
class _Looked:
    """What one way through the samples tells."""

    most: float
    least: float
    mean: float
    change: float
    """Half the mean square of the first difference."""
    step: float
    """Smallest difference of two sample values in the middle of the clip; 0 where there is none."""


def check_samples(clip: Sound) -> tuple[Flag, ...]:
    """Flags that samples alone can raise, worst first by kind."""
    seen = _look(clip)
    found = (
        too_short(clip),
        coded(clip),
        clipping(clip, seen),
        *dropouts(clip, seen),
        repeated_block(clip),
        overflow(clip),
        too_low(seen),
        offset(seen),
    )
    return tuple(flag for flag in found if flag is not None)


def _look(clip: Sound) -> _Looked:
    most, least, mean, change, steps = -np.inf, np.inf, 0.0, 0.0, 0
    # One sample more than its own: the step from one stretch to the next counts too.
    for _, n, x in clip.stretches(STRETCH, 1):
        own = x[:n]
        most, least = max(most, float(own.max())), min(least, float(own.min()))
        mean += float(np.mean(own)) * (len(own) / clip.frames)
        d = np.diff(x)
        change, steps = change + float(d @ d), steps + len(d)
    return _Looked(most, least, mean, change / (2 * steps) if steps else 0.0, quantisation_step(clip))


def quantisation_step(clip: Sound) -> float:
    """Smallest difference of two sample values in the middle of the clip, in full scales; 0 where there is none."""
    mid = max(0, (clip.frames - STEP_PROBE) // 2)
    # Sorted and each once: neighbours in value, not in time, lie one step apart somewhere.
    values = np.unique(clip.part(mid, min(mid + STEP_PROBE, clip.frames)))
    return float(np.diff(values).min()) if len(values) > 1 else 0.0


def coded(clip: Sound) -> Flag | None:
    """Sound that a coder has been through: it keeps what an ear hears, not what is there."""
    if not clip.coded:
        return None
    text = (
        f"Stored as {clip.coded} before it came here: faint hiss may be among what the coder left out; a leak found is "
        "a leak, silence says less; record as WAV or FLAC where the recorder can."
    )
    return Flag(flag="coded", value=1.0, limit=0.0, text=text)


def too_short(clip: Sound) -> Flag | None:
    """A clip too short to measure well."""
    if clip.seconds >= MIN_SECONDS:
        return None
    text = f"Only {clip.seconds:.1f} s long; record at least {MIN_SECONDS:.0f} s, better 4 s."
    return Flag(
        flag="too-short", value=clip.seconds, limit=MIN_SECONDS, text=text, reject=clip.seconds < REJECT_SECONDS
    )


def clipping(clip: Sound, seen: _Looked) -> Flag | None:
    """Samples piled up at the clip's own ceiling, wherever that lies: turned down after clipping is still clipped."""
    # Each side by its own ceiling: with an offset one side clips long before the other.
    tops = [top for sign in (1.0, -1.0) if (top := _piled_up(clip, sign, seen)) is not None]
    if not tops:
        return None
    length = max(1, int(STRETCH_S * clip.rate_hz))
    # Before any sample, and not next to the first: that one begins a new time.
    count, times, last = 0, 0, -2
    touched: set[int] = set()
    for start, _, x in clip.stretches(STRETCH):
        at = np.unique(np.concatenate([top.at(x) for top in tops])) + start
        if len(at):
            count += len(at)
            times += int(at[0] > last + 1) + int(np.count_nonzero(np.diff(at) > 1))
            touched.update(np.unique(at // length).tolist())
            last = int(at[-1])
    share = len(touched) / -(-clip.frames // length)
    text = (
        f"Clipped {times} time(s), in {share:.0%} of the clip; "
        "turn the input gain down or move the microphone back, then record again."
    )
    reject = share > REJECT_CLIPPED_SHARE
    return Flag(flag="clipping", value=float(count), limit=float(MIN_AT_CEILING), text=text, reject=reject)


@dataclass(frozen=True, slots=True)
class _Top:
    """Samples within a tolerance of the ceiling of one sign."""

    sign: float
    ceiling: float
    tolerance: float
    widest: float
    """Level from which samples are looked at: eleven of the widest tolerance below the ceiling."""

    def near(self, x: NDArray[np.float32]) -> tuple[NDArray[np.intp], NDArray[np.float32]]:
        """Samples from there up, and how far each lies below the ceiling."""
        top = np.flatnonzero(x >= self.widest if self.sign > 0 else x <= -self.widest)
        return top, np.asarray(self.ceiling - np.abs(x[top]), dtype=np.float32)

    def at(self, x: NDArray[np.float32]) -> NDArray[np.intp]:
        """Samples within the tolerance."""
        top, below = self.near(x)
        return np.asarray(top[below <= self.tolerance])


def _piled_up(clip: Sound, sign: float, seen: _Looked) -> _Top | None:
    """The top at which more samples lie than a crest explains, if there is one."""
    ceiling = seen.most if sign > 0 else -seen.least
    if ceiling < MIN_CREST_STEPS * seen.step or ceiling <= 0.0:
        return None
    widest = ceiling - 11 * max(FLAT_SHARES[-1] * ceiling, FLAT_STEPS * seen.step)
    tops = [_Top(sign, ceiling, max(share * ceiling, FLAT_STEPS * seen.step), widest) for share in FLAT_SHARES]
    near = []  # looked for once, whatever the tolerance: a pass over a clip is what costs
    for _, n, x in clip.stretches(STRETCH, 1):
        at, below = tops[0].near(x[:n])
        near.append((below, x[np.minimum(at + 1, len(x) - 1)]))
    return next((top for top in tops if _more_than_a_crest(near, top.tolerance)), None)


def _more_than_a_crest(samples: Sequence[tuple[NDArray[np.float32], NDArray[np.float32]]], tolerance: float) -> bool:
    """Whether samples pile up there, and are no tone in step with the sample rate: the one after each crest alike.

    ``samples`` are, for each stretch, how far those near the ceiling lie below it, and the ones after them.
    """
    count, near = 0, 0
    low, high, last = np.inf, -np.inf, np.empty(0, np.float32)
    for below, following in samples:
        # Crests and the belt under them in one pass, the belt ten times as wide.
        crests = below <= tolerance
        count, near = count + int(np.count_nonzero(crests)), near + int(np.count_nonzero(below <= 11 * tolerance))
        # The last one's follower was held back: in the next stretch it is no longer at the very end.
        after = np.concatenate([last, following[crests]])
        if len(after) > 1:  # all but the last: it may stand at the very end
            low, high = min(low, float(after[:-1].min())), max(high, float(after[:-1].max()))
        last = after[-1:]
    piled = count > PILE_UP * (near - count)
    return count >= MIN_AT_CEILING and piled and not high - low < tolerance


def dropouts(clip: Sound, seen: _Looked) -> tuple[Flag, ...]:
    """Stretches in which the value does not change at all: lost buffers, muting, a dead input."""
    if seen.most == seen.least:
        text = "The clip is silent to the last digit; check the cable, the mute switch and the chosen input."
        return (Flag(flag="silent", value=clip.seconds, limit=MAX_STUCK_S, text=text, reject=True),)
    stuck = list(_equal_runs(clip, MAX_STUCK_S * clip.rate_hz))
    if not stuck:
        return ()
    missing_s = float(sum(stuck)) / clip.rate_hz
    text = (
        f"{len(stuck)} gap(s), {missing_s * 1000:.0f} ms in all, where the sound stands still; "
        "close other programs or change the USB port, then record again."
    )
    reject = missing_s > REJECT_STUCK_SHARE * clip.seconds
    longest_ms = float(max(stuck)) / clip.rate_hz * 1000
    return (Flag(flag="dropout", value=longest_ms, limit=MAX_STUCK_S * 1000, text=text, reject=reject),)


def _equal_runs(clip: Sound, longer_than: float) -> Iterator[int]:
    """Lengths in samples of the runs of equal ones that are longer, those over the ends of stretches included."""
    open_pairs = 0
    for _, _, x in clip.stretches(STRETCH, 1):
        # Closed at both ends, so that every run has a start and an end and they come in pairs.
        same = np.concatenate([[False], x[1:] == x[:-1], [False]])
        starts, ends = np.flatnonzero(same[1:] != same[:-1]).reshape(-1, 2).T
        pairs = ends - starts
        if len(pairs) and starts[0] == 0:
            pairs[0] += open_pairs
        elif open_pairs and open_pairs + 1 > longer_than:
            yield open_pairs + 1
        goes_on = len(pairs) > 0 and ends[-1] == len(x) - 1
        open_pairs = int(pairs[-1]) if goes_on else 0
        done = pairs[: len(pairs) - goes_on] + 1
        yield from map(int, done[done > longer_than])
    if open_pairs and open_pairs + 1 > longer_than:
        yield open_pairs + 1


def repeated_block(clip: Sound) -> Flag | None:
    """A stretch that comes again sample for sample shortly after: a buffer delivered twice."""
    max_lag = int(REPEAT_MAX_LAG_S * clip.rate_hz)
    run = max(_longest_repeat(x, max_lag) for _, _, x in clip.stretches(STRETCH, 3 * max_lag))
    limit = REPEAT_MIN_S * clip.rate_hz
    if run < limit:
        return None
    text = (
        f"{run / clip.rate_hz * 1000:.0f} ms of sound come twice, sample for sample: the sound card was overrun; "
        "close other programs and record again."
    )
    return Flag(
        flag="repeated-block", value=run / clip.rate_hz * 1000, limit=REPEAT_MIN_S * 1000, text=text, reject=True
    )


ANCHOR_BITS = 6
"""One sample in 2**6 is an anchor: chosen by its own value, so that a copy has the same anchors."""
ANCHOR_WINDOW = 8
"""Samples compared at an anchor."""


def _longest_repeat(x: NDArray[np.float32], max_lag: int) -> int:
    """Length in samples of the longest exact repeat at a lag up to ``max_lag``, found from content-chosen anchors."""
    bits = np.ascontiguousarray(x).view(np.uint32)
    # Times 2^32 over the golden ratio (Knuth's hashing): which samples are anchors has nothing to do with level.
    mixed = bits[: len(x) - ANCHOR_WINDOW] * np.uint32(2654435769)
    lowest = np.iinfo(np.int32).min  # the lowest signed numbers, not the lowest: so that zero is no anchor
    at = np.flatnonzero(mixed.view(np.int32) < np.int32(lowest + 2 ** (32 - ANCHOR_BITS)))
    if not 2 <= len(at) <= len(x) >> (ANCHOR_BITS - 2):  # over four times as many as by chance: too few levels to tell
        return 0
    # Its like for 64 bits (2^64 over the golden ratio): one number stands for the samples at an anchor.
    powers = np.array([pow(0x9E3779B97F4A7C15, k + 1, 2**64) for k in range(ANCHOR_WINDOW)], dtype=np.uint64)
    key = bits[at[:, None] + np.arange(ANCHOR_WINDOW)].astype(np.uint64) @ powers
    # Whether any comes twice is sooner seen than which, and hardly a clip has one.
    in_order = np.sort(key)
    if not (in_order[1:] == in_order[:-1]).any():
        return 0
    # Stable: equal ones stay in order of time, so that the second of two is the later one.
    order = np.argsort(key, kind="stable")
    same = key[order][1:] == key[order][:-1]
    first, second = at[order[:-1][same]], at[order[1:][same]]
    lag = second - first
    near = (lag > 0) & (lag <= max_lag)
    return max((_equal_run(x, int(i), int(d)) for i, d in _one_per_lag(first[near], lag[near])), default=0)


def _one_per_lag(first: NDArray[np.intp], lag: NDArray[np.intp]) -> list[tuple[int, int]]:
    """The most frequent lags, each with its first place; a true repeat has one lag at many anchors."""
    lags, where, counts = np.unique(lag, return_index=True, return_counts=True)
    best = np.argsort(-counts, kind="stable")[:8]
    return [(int(first[where[b]]), int(lags[b])) for b in best]


def _equal_run(x: NDArray[np.float32], i: int, lag: int) -> int:
    """How long ``x`` equals itself ``lag`` later around sample ``i``; 0 for a stretch that hardly changes."""
    low, high = max(0, i - lag), min(len(x) - lag, i + lag)
    unlike = np.flatnonzero(x[low:high] != x[low + lag : high + lag]) + low
    begin = int(unlike[unlike < i].max(initial=low - 1)) + 1
    end = int(unlike[unlike >= i].min(initial=high))
    stretch = x[begin:end]
    # A value that stands still equals itself at any lag; dropouts tell of that.
    changes = np.count_nonzero(stretch[1:] != stretch[:-1]) if len(stretch) > 1 else 0
    return end - begin if changes > len(stretch) // 2 else 0


def overflow(clip: Sound) -> Flag | None:
    """Input overflows that the sound system itself reported."""
    if clip.overflows == 0:
        return None
    text = f"The sound system lost samples {clip.overflows} time(s); close other programs and record again."
    return Flag(flag="overflow", value=float(clip.overflows), limit=0.0, text=text)


def too_low(seen: _Looked) -> Flag | None:
    """A level so low that quantisation, or nothing at all, hides the shop.

    The first difference whitens rumble away; white noise of density d doubles its power in it, as does quantisation
    noise, step**2/12.
    """
    power, step = seen.change, seen.step
    floor = max(step**2 / 12 * 10 ** (LOW_OVER_STEP_DB / 10), 10 ** (MIN_LEVEL_DBFS / 10))
    if power == 0.0 or power >= floor:
        return None
    level, limit = 10 * np.log10(power), 10 * np.log10(floor)
    text = (
        f"Level {level:.0f} dBFS, below the {limit:.0f} dBFS at which the recorder's own floor hides the shop; "
        "turn the input gain up or go nearer, then record again."
    )
    return Flag(flag="too-low", value=float(level), limit=float(limit), text=text, reject=True)


def offset(seen: _Looked) -> Flag | None:
    """A constant offset that eats headroom."""
    peak = max(seen.most, -seen.least)
    share = abs(seen.mean) / peak if peak > 0 else 0.0
    if share < MAX_OFFSET or seen.most == seen.least:
        return None
    text = f"Offset of {share:.0%} of the peak; harmless to the hiss, but check the microphone's plug and supply."
    return Flag(flag="offset", value=share, limit=MAX_OFFSET, text=text)
