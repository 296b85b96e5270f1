"""Everything one listening point's takes say, as numbers: groups by kind, live bands, tones, bubbles, flags."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from listen.errors import RoundError
from listen.signal.bands import (
    BANDWIDTH_HZ,
    band_weights,
    drowned_bands,
    lasting_tones,
    live_bands,
    new_tones_hz,
    tone_mask,
    whistles,
)
from listen.signal.bubbles import bubble_events
from listen.signal.clip import Sound
from listen.signal.clip_print import ClipPrint, clip_print
from listen.signal.contrast import Contrast, pool, repeats
from listen.signal.drift import Repeat
from listen.signal.flags import Flag
from listen.signal.part_time import Louder, louder_part
from listen.signal.quality import check_clip
from listen.signal.quality_pair import compare_clips, compare_quiets
from listen.signal.quality_spectrum import usable_band_hz
from listen.signal.spectra import Spectra, spectra
from listen.signal.switched import Locked, frame_times_s, lock
from listen.signal.switched_clip import SwitchedClip
from listen.signal.switched_flags import against_flag, left_out_flag, no_switching
from listen.signal.take import TakeBands, degrees_of_freedom, quantile_bias, take_bands
from listen.trade.points import Kind, point

MIN_LIVE_BANDS = 4
"""Fewer live third octaves than this cannot tell a hiss from a hum."""


@dataclass(frozen=True, slots=True)
class BubbleCount:
    """Bubble events and the time they were counted over."""

    events: int
    seconds: float

    @property
    def rate_hz(self) -> float:
        return self.events / self.seconds if self.seconds else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class PointTakes:
    """Numbers of all takes at one point. Arrays over bands hold the live bands only [shape=(L,)]."""

    point: str
    live: NDArray[np.bool_]
    """Which of the thirteen bands carry sound [shape=(13,)]."""
    takes: Mapping[Kind, tuple[TakeBands, ...]]
    """Band numbers by kind, rejected takes left out."""
    floor_bias: NDArray[np.float64]
    """Chi-square quantile over mean of the floors."""
    tones_hz: tuple[float, ...]
    """Tones that come with the air."""
    bubbles: Mapping[Kind, BubbleCount]
    """By kind, where the point holds coolant; elsewhere empty."""
    flags: tuple[Flag, ...]
    whistle_db: float | None = None
    """Power of the strongest of those tones that is a whistle and no resonance, dB re full scale..."""
    locked: Mapping[Kind, Locked] = field(default_factory=dict)
    """What switched takes say, by the kind their air-on halves are; ``takes`` then holds their halves too."""
    prints: tuple[ClipPrint, ...] = ()
    """What each usable clip that is not switched is known by beside its hiss, in the order given."""
    at_least: tuple[TakeBands, ...] = ()
    """Air clips refused for nothing but clipping, where no better one is there: the air is at least so loud."""
    whistle_hz: float | None = None
    """...and its frequency."""
    louder: tuple[TakeBands, ...] = ()
    """Parts of air clips in which something else sounded, or, seldom, the air alone; ``takes`` holds the rest."""

    @property
    def quiet_kind(self) -> Kind:
        """What the air is compared with: the supply-on quiet where it was taken, else the plain one."""
        return Kind.SHUT if self.takes.get(Kind.SHUT) else Kind.QUIET

    def without(self, clips: Collection[ClipPrint]) -> "PointTakes":
        """The same point with some of its clips left out."""
        # By identity: numbers may be equal in two clips, of which one is left out.
        out = {id(c.bands) for c in clips}
        takes = {kind: tuple(t for t in group if id(t) not in out) for kind, group in self.takes.items()}
        # What was told of the pair of clips was told of the one that is left out.
        flags = tuple(f for f in self.flags if f.flag != "automatic-gain" or f.reject)
        return replace(self, takes={kind: group for kind, group in takes.items() if group}, flags=flags)

    def contrast(self, kind: Kind, against: Kind | None = None) -> Contrast | None:
        """``kind`` against quiet, or ``None`` where either has no usable take. A switched take counts before walks."""
        if against is None and kind in self.locked:
            return self.locked[kind].contrast
        return self._contrast(self.takes.get(kind), against or self.quiet_kind)

    def louder_contrast(self) -> Contrast | None:
        """The louder part of an air clip against quiet: what escapes, if the air was on in that part only."""
        return self._contrast(self.louder, self.quiet_kind)

    def least_contrast(self) -> Contrast | None:
        """Clipped air against quiet, where there is no other: the air is louder than this by nobody knows how much."""
        return self._contrast(self.at_least, self.quiet_kind)

    def _contrast(self, over: tuple[TakeBands, ...] | None, against: Kind) -> Contrast | None:
        under = self.takes.get(against)
        return Contrast(pool(under), pool(over)) if over and under else None

    def repeats(self, floors: bool = False) -> list[Repeat]:
        """Takes of one kind against each other: alike but for drift."""
        return [r for group in self.takes.values() for r in repeats(group, self.live, floors)]


def measure_point(
    point_id: str, clips: Sequence[tuple[Kind, Sound]], switched: Sequence[SwitchedClip] = ()
) -> PointTakes:
    """Measure all takes of one point; their order does not matter.

    The halves of a switched take are looked over as clips of their kind; its contrast comes from the take as a whole.

    Raises RoundError: takes of different sample rates at one point. ClipError: a clip too short to measure."""
    parts = [(s, s.halves()) for s in switched]
    usable_takes = [s for s, pair in parts if pair is not None]
    unswitched = tuple(no_switching(s.clip) for s, pair in parts if pair is None)
    plain = len(clips)
    # A sound cylinder's own quiet stays its own: of it there is nothing but the contrast.
    halves = [pair for s, pair in parts if pair and s.on_kind is Kind.AIR]
    clips = [*clips, *(x for pair in halves for x in zip((Kind.QUIET, Kind.AIR), pair, strict=True))]
    if not clips:  # nothing but takes in which nobody switched
        none = np.zeros(len(BANDWIDTH_HZ), dtype=bool)
        return PointTakes(point_id, none, {}, np.ones(0), (), {}, unswitched)
    rates = sorted({c.rate_hz for _, c in clips} | {s.clip.rate_hz for s in switched})
    if len(rates) > 1:
        raise RoundError(
            f"{point_id}: takes at {' and '.join(map(str, rates))} Hz; one point needs one rate, record it again alike"
        )
    spectra_of = [spectra(c) for _, c in clips]
    flags = [check_clip(c, s) for (_, c), s in zip(clips, spectra_of, strict=True)]
    good = [i for i, f in enumerate(flags) if not any(x.reject for x in f)]
    # The narrowest of all takes: bands are compared between them, so all must hold them.
    usable = min((usable_band_hz(s) for s in spectra_of), default=np.inf)
    live = live_bands(rates[0], usable)
    holds_coolant = point(point_id).holds_coolant
    masks, tones, (whistle_hz, whistle_db) = _tones([clips[i][0] for i in good], [spectra_of[i] for i in good])
    if masks is not None and masks.any():
        live = live & ~drowned_bands(band_weights(spectra_of[0], usable), masks)
    # One set of weights for all takes: what one take alone left out would read as a difference between them.
    weights = band_weights(spectra_of[0], usable, masks)[:, live]
    # Masked tones and half-filled edge bands hold less noise than their width: they are so much less sure.
    bandwidth = np.minimum(BANDWIDTH_HZ[live], weights.sum(axis=0) * rates[0] / spectra_of[0].frame)
    dof = degrees_of_freedom(weights)
    takes: dict[Kind, tuple[TakeBands, ...]] = {}
    bubbles: dict[Kind, BubbleCount] = {}
    at_least: tuple[TakeBands, ...] = ()
    # Halves of a switched take have none: cut from one recording, they are alike without being copies.
    prints = {i: clip_print(*clips[i], spectra_of[i], usable) for i in good if i < plain}
    parts_of = _louder_parts(prints)

    def bands(i: int, *, louder: bool = False) -> TakeBands:
        power = spectra_of[i].by_frame(lambda p: (p @ weights).astype(np.float64))
        if i not in parts_of:
            return take_bands(power, bandwidth, clips[i][1].seconds, dof)
        kept = power[parts_of[i].within(len(power)) == louder]
        return take_bands(kept, bandwidth, clips[i][1].seconds * len(kept) / len(power), dof)

    if live.sum() >= MIN_LIVE_BANDS:
        for i in good:
            # Kept by the print as well, so that a clip found to be spoiled can be left out with its numbers.
            found = bands(i)
            takes[clips[i][0]] = (*takes.get(clips[i][0], ()), found)
            if i in prints:
                prints[i] = replace(prints[i], bands=found)
        if Kind.AIR not in takes and not switched:
            airs = [i for i, (k, _) in enumerate(clips) if k is Kind.AIR]
            at_least = tuple(bands(i) for i in airs if {f.flag for f in flags[i] if f.reject} == {"clipping"})
    # By level, so that neither names nor order of takes move a digit.
    takes = {kind: tuple(sorted(group, key=lambda t: float(t.mean.sum()))) for kind, group in takes.items()}
    for i in good if holds_coolant else ():
        kind, clip = clips[i]
        seen = bubbles.get(kind, BubbleCount(0, 0.0))
        bubbles[kind] = BubbleCount(seen.events + bubble_events(clip).count, seen.seconds + clip.seconds)
    pair = _pair_flags(clips, spectra_of, good)
    if any(f.reject for f in pair):  # quiet and air do not go together: nothing may be read from their difference
        takes.pop(Kind.AIR, None)
        bubbles.pop(Kind.AIR, None)
    locked, told = _locked(usable_takes, weights, bandwidth, takes)
    # Halves of a take that could not be read are no walks: drift between them would pass for hiss.
    for kind in {s.on_kind for s in usable_takes} - set(locked):
        takes.pop(kind, None)
    # Of air that was refused its louder part is refused too.
    louder = tuple(bands(i, louder=True) for i in parts_of) if Kind.AIR in takes else ()
    every = (*(x for f in flags for x in f), *(p.flag for p in parts_of.values()), *pair, *unswitched, *told)
    bias = quantile_bias(dof)
    return PointTakes(
        point_id,
        live,
        takes,
        bias,
        tones,
        bubbles,
        every,
        whistle_db,
        locked,
        tuple(prints.values()),
        at_least,
        whistle_hz,
        louder,
    )


def _louder_parts(prints: Mapping[int, ClipPrint]) -> dict[int, Louder]:
    """Of the air clips, by their place, the part in which something else sounded."""
    quiets = [p.course_db for p in prints.values() if p.kind is Kind.QUIET]
    found = {i: louder_part(p.course_db, quiets) for i, p in prints.items() if p.kind is Kind.AIR}
    return {i: part for i, part in found.items() if part is not None}


def _locked(
    switched: Sequence[SwitchedClip],
    weights: NDArray[np.float32],
    bandwidth: NDArray[np.float64],
    takes: Mapping[Kind, tuple[TakeBands, ...]],
) -> tuple[dict[Kind, Locked], tuple[Flag, ...]]:
    """The switched takes' own contrasts, where their halves were good; the surest of several takes."""
    out: dict[Kind, Locked] = {}
    flags: list[Flag] = []
    for s in switched:
        # Halves refused as clips refuse the take: what is wrong with them is wrong with it. With the air off it may be
        # too quiet for the recorder where with the air on it is not.
        refused = s.on_kind is Kind.AIR and not {Kind.QUIET, Kind.AIR} <= takes.keys()
        if s.timeline is None or weights.shape[1] < MIN_LIVE_BANDS or refused:
            continue
        whole = spectra(s.clip)
        found = lock(
            whole.by_frame(lambda p: (p @ weights).astype(np.float64)),
            frame_times_s(whole),
            s.timeline,
            bandwidth,
            s.common,
        )
        if found is None:
            flags.append(no_switching(s.clip, s.timeline.cycles))
            continue
        if found.against:
            flags.append(against_flag(found))
            continue
        flags.extend(left_out_flag(found))
        if s.on_kind not in out or found.variance < out[s.on_kind].variance:
            out[s.on_kind] = found
    return out, tuple(flags)


def _tones(
    kinds: Sequence[Kind], all_spectra: Sequence[Spectra]
) -> tuple[NDArray[np.bool_] | None, tuple[float, ...], tuple[float | None, float | None]]:
    """Union of all takes' tone bins, the tones that are there only with the air on, and the strongest whistle's
    frequency and power.
    """
    if not all_spectra:
        return None, (), (None, None)
    means = [s.mean_power for s in all_spectra]
    # One mask for all takes: a tone taken out of one side only would read as a difference.
    mask = np.logical_or.reduce([tone_mask(m, s.frames) for m, s in zip(means, all_spectra, strict=True)])
    quiet = [i for i, k in enumerate(kinds) if k is Kind.QUIET]
    air = [i for i, k in enumerate(kinds) if k is Kind.AIR]
    if not quiet or not air:
        return mask, (), (None, None)
    mean = [np.mean([means[i] for i in g], axis=0) for g in (air, quiet)]
    frames = [sum(all_spectra[i].frames for i in g) for g in (air, quiet)]
    freq_hz = all_spectra[0].freq_hz
    fresh = new_tones_hz(mean[0], mean[1], (frames[0], frames[1]), freq_hz)
    lasting = lasting_tones(np.mean([all_spectra[i].mean_level_db for i in air], axis=0))
    bins = [k for k in np.searchsorted(freq_hz, fresh) if lasting[k]]
    # Only lasting tones: a knock that rings fills a bin of the mean, but few of the frames.
    clear = whistles(mean[0], mean[1], bins)
    # Five bins: the main lobe of a Hann window and the bin beside it.
    power = {k: float((mean[0] - mean[1])[max(k - 2, 0) : k + 3].sum()) for k in clear}
    loudest = max(power, key=lambda k: power[k]) if power else None
    whistle = (None, None) if loudest is None else (float(freq_hz[loudest]), 10.0 * float(np.log10(power[loudest])))
    return mask, tuple(float(freq_hz[k]) for k in bins), whistle


def _pair_flags(
    clips: Sequence[tuple[Kind, Sound]], all_spectra: Sequence[Spectra], good: Sequence[int]
) -> tuple[Flag, ...]:
    """What the good quiet clips say about each other, and the first of them about the first good air clip."""
    quiets = [(clips[i][1], all_spectra[i]) for i in good if clips[i][0] is Kind.QUIET]
    hissing = [f for one, other in combinations(quiets, 2) for f in compare_quiets(one, other)]
    told = tuple(sorted(hissing, key=lambda f: -f.value)[:1])
    airs = [(clips[i][1], all_spectra[i]) for i in good if clips[i][0] is Kind.AIR]
    return told + compare_clips(quiets[0], airs[0]) if quiets and airs else told
