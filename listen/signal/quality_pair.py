"""What is doubtful about two clips of one point: gain or microphone changed between them, a quiet clip with air in it.

Air can only add power, and adds little below 500 Hz. Where the air clip has less than the quiet one, or both differ
by the same amount in bands the leak cannot reach, something else has changed.

Symbols: r[b] = level of the second clip over the first in band b, dB, from means of log power (knocks weigh little).
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from listen.errors import ClipError
from listen.signal.clip import Sound
from listen.signal.flags import Flag
from listen.signal.quality_spectrum import unrest_db, usable_band_hz
from listen.signal.spectra import Spectra

Measured = tuple[Sound, Spectra]

LOW_EDGES_HZ = (60.0, 130.0, 210.0, 320.0, 500.0)
"""Bands a leak does not reach: jets and ring packs peak at 1 kHz and above (METHOD section 4)."""
HISS_EDGES_HZ = (900.0, 1400.0, 2240.0, 3550.0, 5600.0, 8900.0, 14100.0)
"""Two-thirds-octave steps up to the 12.5 kHz third octave (IEC 61260)."""
MAX_COMMON_SHIFT_DB = 2.0
"""Common shift of the low bands. Steady backgrounds move by 0.1-1 dB from clip to clip."""
MAX_SHIFT_SPREAD_DB = 1.2
"""Low bands whose shifts differ by no more than this were moved by one gain, not by the shop; chance alone gives
about 0.6 dB for 4 s."""
MAX_FALL_DB = 3.0
"""Fall of the second deepest hiss band below the quiet clip: no leak takes power away."""
UNREST_FACTOR = 4.0
"""Standard deviations of the clips' own unrest that a shift must exceed besides."""
MIN_QUIET_EXCESS_DB = 1.0
"""Hiss in one quiet clip over another; drift of a steady shop stays below (0.1-0.5 dB)."""
HISS_OVER_LOW_DB = 1.0
"""By so much the hiss bands must have risen more than the low bands."""
KURTOSIS_RANGE = (0.7, 1.35)
"""Spectral kurtosis of a steady hiss over 4 s: 1 with a standard deviation of 0.06 per band, drift included."""


def compare_clips(quiet: Measured, air: Measured) -> tuple[Flag, ...]:
    """Flags of a quiet clip and an air clip of the same point; empty for a clean pair."""
    facts = _particulars(quiet[0], air[0])
    if quiet[0].rate_hz != air[0].rate_hz:
        return facts
    low, hiss, unrest = _shifts(quiet, air)
    found = _common_shift(low, hiss, unrest) or _colouration(hiss, unrest)
    return facts if found is None else (*facts, found)


def compare_quiets(one: Measured, other: Measured) -> tuple[Flag, ...]:
    """A flag if one of two quiet clips of a point holds a hiss that the other does not; their order does not matter."""
    if one[0].rate_hz != other[0].rate_hz:
        return ()
    low, hiss, unrest = _shifts(one, other)
    louder = other
    if float(np.median(hiss[len(hiss) // 2 :])) < 0:
        low, hiss, louder = -low, -hiss, one
    excess = float(np.median(hiss[len(hiss) // 2 :]))
    limit = max(MIN_QUIET_EXCESS_DB, UNREST_FACTOR * unrest)
    if excess <= limit or excess - float(np.median(low)) < HISS_OVER_LOW_DB:
        return ()
    # Speech and tools are as loud, but come in events; air is steady.
    kurtosis = float(np.min(spectral_kurtosis(louder[1], HISS_EDGES_HZ)))
    if not KURTOSIS_RANGE[0] < kurtosis < KURTOSIS_RANGE[1]:
        return ()
    text = (
        f"One quiet clip hisses {excess:.1f} dB above another of the same point: was the air still on or bleeding "
        "down? Shut it off, wait until the gauge is at zero and take the quiet clip again."
    )
    return (Flag(flag="quiet-has-air", value=excess, limit=limit, text=text),)  # wind can sound like this: no rejection


def _particulars(quiet: Sound, air: Sound) -> tuple[Flag, ...]:
    """Differences that the clips' own particulars tell."""
    flags = []
    if quiet.rate_hz != air.rate_hz:
        text = f"Quiet clip at {quiet.rate_hz} Hz, air clip at {air.rate_hz} Hz; take both with the same settings."
        flags.append(
            Flag(flag="other-rate", value=float(air.rate_hz), limit=float(quiet.rate_hz), text=text, reject=True)
        )
    if quiet.device and air.device and quiet.device != air.device:
        text = f"Quiet clip from “{quiet.device}”, air clip from “{air.device}”; take both with the same microphone."
        flags.append(Flag(flag="other-microphone", value=1.0, limit=0.0, text=text, reject=True))
    if quiet.gain_db is not None and air.gain_db is not None and air.gain_db != quiet.gain_db:
        change = air.gain_db - quiet.gain_db
        text = f"Input gain changed by {change:+.1f} dB between quiet and air; set it once and take both again."
        flags.append(Flag(flag="other-gain", value=change, limit=0.0, text=text, reject=True))
    return tuple(flags)


def _shifts(first: Measured, second: Measured) -> tuple[NDArray[np.float64], NDArray[np.float64], float]:
    """r for the low and the hiss bands, and the larger unrest of the two clips in dB."""
    # A little below the foot of what a coder cut away, whose slope is neither sound nor floor.
    edge = 0.97 * min(usable_band_hz(first[1]), usable_band_hz(second[1]))
    freq = first[1].freq_hz
    shift = (second[1].mean_level_db - first[1].mean_level_db).astype(np.float64)
    hiss_edges = [f for f in HISS_EDGES_HZ if f <= edge]
    wide = slice(*np.searchsorted(freq, (0.25 * hiss_edges[-1], hiss_edges[-1])))
    unrest = max(
        unrest_db(s.by_frame(lambda level: level[:, wide].mean(axis=1), levels=True), s.frame_rate_hz)
        for _, s in (first, second)
    )
    return _banded(shift, freq, LOW_EDGES_HZ), _banded(shift, freq, hiss_edges), unrest


def _banded(
    values: NDArray[np.float64], freq_hz: NDArray[np.float64], edges: tuple[float, ...] | list[float]
) -> NDArray[np.float64]:
    """Means of ``values`` over the bins between edges; a band without a bin is left out."""
    at = np.searchsorted(freq_hz, edges)
    return np.array([values[a:b].mean() for a, b in pairwise(at) if b > a])


def _common_shift(low: NDArray[np.float64], hiss: NDArray[np.float64], unrest: float) -> Flag | None:
    """All bands moved by one gain, also those a leak cannot reach."""
    shift = float(np.median(low))
    spread = float(np.ptp(low))
    limit = max(MAX_COMMON_SHIFT_DB, UNREST_FACTOR * unrest)
    everywhere = bool(hiss.min() > shift - MAX_SHIFT_SPREAD_DB)  # the leak may lift any band, one gain lowers none more
    if abs(shift) <= limit or spread > MAX_SHIFT_SPREAD_DB or not everywhere:
        return None
    text = (
        f"All bands moved by {shift:+.1f} dB between quiet and air, also where no leak can be heard: automatic gain, "
        "a changed gain or a changed shop; turn automatic gain off and take quiet and air again, shortly after "
        "each other."
    )
    return Flag(flag="automatic-gain", value=shift, limit=limit, text=text)


def _colouration(hiss: NDArray[np.float64], unrest: float) -> Flag | None:
    """Hiss bands lost power against the quiet clip: moved, or another microphone."""
    # The second deepest: one band alone may fall because a fan or a tone stopped.
    fall = -float(np.sort(hiss)[1])
    limit = max(MAX_FALL_DB, UNREST_FACTOR * unrest)
    if fall <= limit:
        return None
    text = (
        f"The air clip lies {fall:.1f} dB below the quiet clip in some bands, and air cannot take sound away: the "
        "microphone or something in front of it was moved, or a machine stopped; take both again."
    )
    return Flag(flag="moved", value=fall, limit=limit, text=text)


THIRD_OCTAVE_EDGES_HZ = tuple(1000.0 * 10.0 ** ((n - 0.5) / 10) for n in range(14))
"""Edges of the third octaves 1-16 kHz, exact base-ten frequencies (IEC 61260-1)."""
MIN_FRAMES = 4
"""Fewer power estimates have no usable kurtosis."""


def spectral_kurtosis(spectra: Spectra, edges_hz: Sequence[float] = THIRD_OCTAVE_EDGES_HZ) -> NDArray[np.float64]:
    """Mean spectral kurtosis of the bins of each band [shape=(B,)]; NaN for a band without bins or without power.

    1 for a steady Gaussian hiss, more for knocks and speech, less for a steady tone. With M power estimates that do not
    overlap, S1 = sum of P and S2 = sum of P**2 over them, SK = (M + 1) / (M - 1) * (M * S2 / S1**2 - 1) has expectation
    1 for Gaussian noise whatever its level, and standard deviation 2/sqrt(M) (Nita and Gary, "The generalized spectral
    kurtosis estimator", MNRAS Letters 406, 2010).

    Parameters
    ----------
    spectra
        Of the clip; every second frame is used, so that frames do not overlap.
    edges_hz
        B + 1 rising band edges in Hz.

    Raises ClipError: fewer than ``MIN_FRAMES`` frames that do not overlap."""
    m = (spectra.frames + 1) // 2
    if m < MIN_FRAMES:
        raise ClipError(f"clip: {m} frames that do not overlap; spectral kurtosis needs at least {MIN_FRAMES}")
    low, high = np.searchsorted(spectra.freq_hz, (edges_hz[0], edges_hz[-1]))
    mean = spectra.mean_over(lambda power: power[:, low:high], every=2)
    # No power gives NaN, not a division by nought: nothing is claimed of a dead band.
    usual, second, at = np.where(mean > 0, mean, np.nan), np.zeros(high - low), 0
    for power in spectra.blocks():
        # Every second frame counted from the start of the clip, however it comes in blocks.
        scaled = power[-at % 2 :: 2, low:high] / usual
        at += len(power)
        second += np.einsum("tk,tk->k", scaled, scaled)
    per_bin = (m + 1) / (m - 1) * (second / m - 1)
    at = np.searchsorted(spectra.freq_hz, edges_hz) - low
    bands = pairwise(at)
    return np.array([per_bin[a:b].mean() if b > a else np.nan for a, b in bands])
