"""Pictures of a clip over time and frequency for screens and reports, and clips prepared for listening.

Levels are dB re full scale squared and are never cut at a distance below the loudest (librosa's own default of 80 dB
would let one knock erase a faint hiss); clips keep their own sample rate (librosa's loading default would drop it to
22 050 Hz).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from listen.signal.clip import Clip
from listen.signal.spectra import spectra

LOW_HZ, HIGH_HZ = 100.0, 20_000.0
"""Frequencies shown by default."""
HISS_LOW_HZ, HISS_HIGH_HZ = 1_000.0, 16_000.0
"""The hiss band, for listening."""
EDGE_OCTAVES = 0.25
"""Width of the raised-cosine edges of the listening band-pass: short enough to cut rumble, too soft to ring."""
KNOCK_OVER_LASTING = 8.0
"""A knock is what stands 9 dB over that which lasts; in noise alone hardly a fiftieth of the power passes for one."""
AMIN = 1e-20
"""Smallest power told from none, -200 dB."""
PEAK = 0.98
"""Highest sample after level matching."""


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """Level over time and frequency, low frequencies first."""

    level_db: NDArray[np.float32]
    """Mean power of each cell in dB [shape=(rows, columns)]."""
    times_s: NDArray[np.float64]
    """Middle of each column [shape=(columns,)]."""
    freqs_hz: NDArray[np.float64]
    """Geometric middle of each row [shape=(rows,)]."""


@dataclass(frozen=True, slots=True, eq=False)
class Split:
    """A picture parted in two: what lasts, and the knocks."""

    lasting: Picture
    knocks: Picture


def picture(
    clip: Clip, *, rows: int = 96, columns: int = 240, low_hz: float = LOW_HZ, high_hz: float = HIGH_HZ
) -> Picture:
    """Mean power in ``rows`` equal steps of log frequency and ``columns`` equal steps of time.

    Never more columns than frames, and never more rows than bins can fill.

    Raises ClipError: the clip is shorter than two frames."""
    return _pooled(_power(clip), clip, rows, columns, low_hz, high_hz)


def split_knocks(
    clip: Clip, *, rows: int = 96, columns: int = 240, low_hz: float = LOW_HZ, high_hz: float = HIGH_HZ
) -> Split:
    """What the frame gate takes out, to look at: a knock fills a column, what lasts fills a row (FitzGerald,
    "Harmonic/percussive separation using median filtering", DAFx 2010).

    Raises ClipError: the clip is shorter than two frames."""
    import librosa  # loaded on demand: its first use costs seconds

    power = _power(clip)
    _, knocks = librosa.decompose.hpss(power, power=2.0, margin=(1.0, KNOCK_OVER_LASTING))
    shape = (rows, columns, low_hz, high_hz)
    return Split(_pooled(power - knocks, clip, *shape), _pooled(knocks, clip, *shape))


def hiss_band(clip: Clip) -> Clip:
    """The clip with only the hiss band left, for listening; level and length are kept, delay is none."""
    n = len(clip.samples)
    spectrum = np.fft.rfft(clip.samples)
    # The offset's bin has no octave: put far below the band, where it is cut anyway.
    octaves = np.log2(np.maximum(np.fft.rfftfreq(n, 1 / clip.rate_hz), 1e-3))
    rise = np.clip((octaves - np.log2(HISS_LOW_HZ)) / EDGE_OCTAVES + 1, 0, 1)
    fall = np.clip((np.log2(HISS_HIGH_HZ) - octaves) / EDGE_OCTAVES + 1, 0, 1)
    # Real factors on the whole clip's spectrum: no phase is turned, hence no delay.
    spectrum *= np.sin(np.pi / 2 * rise) ** 2 * np.sin(np.pi / 2 * fall) ** 2
    return _with_samples(clip, np.fft.irfft(spectrum, n))


def level_matched(a: Clip, b: Clip) -> tuple[Clip, Clip]:
    """Both clips at the level (root mean square) of the softer one, so that the ear compares colour, not loudness.

    A silent clip has no level to match; then both come back as they are.
    """
    levels = [float(np.sqrt(np.mean(np.square(c.samples, dtype=np.float64)))) for c in (a, b)]
    if min(levels) == 0.0:
        return a, b
    peaks = [float(np.abs(c.samples).max()) / level for c, level in zip((a, b), levels, strict=True)]
    # Softer than either where a crest would else go beyond full scale.
    target = min(*levels, PEAK / max(peaks))
    first, second = (_with_samples(c, c.samples * (target / level)) for c, level in zip((a, b), levels, strict=True))
    return first, second


def _with_samples(clip: Clip, samples: NDArray[np.floating]) -> Clip:
    frozen = np.asarray(samples, dtype=np.float32)
    frozen.flags.writeable = False
    return replace(clip, samples=frozen)


def _power(clip: Clip) -> NDArray[np.float32]:
    """Short-time power [shape=(bins, frames)]. Our own frames: librosa's compile for 11 s at their first use."""
    return np.ascontiguousarray(spectra(clip).power.T)


def _pooled(power: NDArray[np.float32], clip: Clip, rows: int, columns: int, low_hz: float, high_hz: float) -> Picture:
    """Power averaged over cells, in dB."""
    import librosa  # loaded on demand: its first use costs seconds

    bins, frames = power.shape
    bin_hz = clip.rate_hz / 2 / (bins - 1)
    # From the first bin on: the offset's has no place on an axis of log frequency.
    edges = np.geomspace(max(low_hz, bin_hz), min(high_hz, clip.rate_hz / 2), rows + 1)
    # Rows narrower than a bin fall together, so that no row is empty.
    across = np.unique(np.round(edges / bin_hz).astype(np.intp))
    along = np.unique(np.linspace(0, frames, min(columns, frames) + 1).astype(np.intp))
    cells = np.add.reduceat(power[across[0] : across[-1]], across[:-1] - across[0], axis=0)
    cells = np.add.reduceat(cells, along[:-1], axis=1)
    cells /= np.diff(across)[:, None] * np.diff(along)[None, :]
    # Nothing is cut 80 dB below the loudest, as it would be by default: one knock would erase the hiss.
    level = librosa.power_to_db(cells, ref=1.0, amin=AMIN, top_db=None)
    return Picture(
        np.asarray(level, dtype=np.float32),
        (along[:-1] + along[1:]) / 2 * clip.seconds / frames,
        np.sqrt(across[:-1] * across[1:]) * bin_hz,
    )
