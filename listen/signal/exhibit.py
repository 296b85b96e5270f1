"""A point's clips made ready to be looked at: gated mean spectra over each other, tones, kept share, loudness steps."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.signal.bands import band_weights, new_tones_hz
from listen.signal.clip import Clip
from listen.signal.picture import Picture, picture
from listen.signal.quality_spectrum import usable_band_hz
from listen.signal.spectra import Spectra, spectra
from listen.signal.take import gate

LOW_HZ, HIGH_HZ = 500.0, 20_000.0
"""Frequencies shown: the hiss bands and a little on either side."""
ROWS_AN_OCTAVE = 12
"""Steps of log frequency: finer than the third octaves that are judged, coarse enough to be smooth."""
TINY = 1e-20
"""-200 dB: smallest power told from none."""
PICTURE_QUANTILES = (0.05, 0.999)
"""A picture's darkest and brightest step stand for these quantiles, so that one knock cannot darken all the rest."""


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Mean spectrum of one clip over the frames its gate kept."""

    level_db: NDArray[np.float64]
    """Power density in dB re full scale squared per hertz [shape=(R,)]."""
    kept: float
    """Share of frames the gate kept, 0 to 1."""


@dataclass(frozen=True, slots=True, eq=False)
class Exhibit:
    """Quiet and air over one frequency axis."""

    lg_freq: NDArray[np.float64]
    """lg of frequency in Hz [shape=(R,)]."""
    quiet: Curve | None
    air: Curve | None
    tones_hz: tuple[float, ...]
    """Tones that come with the air, strongest first."""


def exhibit(quiet: Clip | None, air: Clip | None) -> Exhibit:
    """Spectra of both clips; either may be missing. Raises ClipError: a clip is too short to measure."""
    of = [spectra(c) if c is not None else None for c in (quiet, air)]
    high_hz = min([HIGH_HZ, *(s.rate_hz / 2 for s in of if s is not None)])
    edges = np.geomspace(LOW_HZ, high_hz, round(np.log2(high_hz / LOW_HZ) * ROWS_AN_OCTAVE) + 1)
    curves = [_curve(s, edges) if s is not None else None for s in of]
    return Exhibit(np.log10(np.sqrt(edges[:-1] * edges[1:])), curves[0], curves[1], _tones(of[0], of[1]))


def _curve(s: Spectra, edges_hz: NDArray[np.float64]) -> Curve:
    keep = gate(np.log(np.maximum((s.power @ band_weights(s, usable_band_hz(s))).astype(np.float64), TINY)))
    density = s.power[keep].mean(axis=0, dtype=np.float64) / (s.rate_hz / s.frame)
    # Running sums, read between bins: a row narrower than a bin gets its share of it.
    sums = np.concatenate([[0.0], np.cumsum(density)])
    # A bin reaches half a step to either side of its centre.
    bins = np.arange(len(sums)) - 0.5
    at = np.interp(edges_hz / (s.rate_hz / s.frame), bins, sums)
    mean = np.diff(at) / np.diff(edges_hz / (s.rate_hz / s.frame))
    return Curve(10.0 * np.log10(np.maximum(mean, TINY)), float(keep.mean()))


def _tones(quiet: Spectra | None, air: Spectra | None) -> tuple[float, ...]:
    # At another rate the same bin is another frequency.
    if quiet is None or air is None or quiet.rate_hz != air.rate_hz:
        return ()
    means = [s.mean_power for s in (air, quiet)]
    return new_tones_hz(means[0], means[1], (len(air.power), len(quiet.power)), air.freq_hz)


def loudness_steps(picture: Picture, count: int, scale: Picture | None = None) -> tuple[tuple[int, ...], ...]:
    """A picture in ``count`` whole steps of loudness, a tuple a row, low frequencies first.

    ``scale`` is the picture whose range the steps divide, for a part of a sound that of the whole.
    """
    low, high = np.quantile((scale or picture).level_db, PICTURE_QUANTILES)
    share = (picture.level_db - low) / max(high - low, 1e-6)
    steps = np.clip(np.round(share * (count - 1)), 0, count - 1).astype(int)
    return tuple(map(tuple, steps.tolist()))


def pictures_joined(clips: Sequence[Clip], *, rows: int, columns: int, gap: int) -> Picture:
    """Pictures of several clips side by side on one scale of level, ``gap`` dark columns between them.

    Raises ClipError: a clip is too short."""
    made = [picture(c, rows=rows, columns=columns, low_hz=LOW_HZ) for c in clips]
    # Of the rows that all have: a low sample rate ends below the others.
    least = min(len(p.level_db) for p in made)
    dark = np.full((least, gap), min(float(p.level_db.min()) for p in made), dtype=np.float32)
    parts = [part for p in made for part in (p.level_db[:least], dark)][:-1]
    level = np.concatenate(parts, axis=1)
    return Picture(level, np.arange(level.shape[1], dtype=np.float64), made[0].freqs_hz[:least])
