"""What a leak may sound like: a broad prior over spectral slopes and bends, red ones included.

Jets rise by about 6 dB an octave below their peak; ring packs, drains and ducts turn that over. A jet-only prior once
called a loud red release silence, so slopes from -9 to +6 dB an octave are all given a place.
"""

import numpy as np
from numpy.typing import NDArray

from listen.signal.bands import BANDWIDTH_HZ, CENTRES_HZ

SLOPES_DB_PER_OCTAVE = (-9.0, -6.0, -3.0, 0.0, 3.0, 6.0)
"""Slopes of power density. A jet below its peak rises by 6 (METHOD section 4); the rest is judgement."""
BENDS_DB_PER_OCTAVE2 = (0.0, 1.0, 2.5)
"""Downward curvature about the middle of the band. Judgement."""
SMOOTH_ERROR_DB = 3.0
SMOOTH_ERROR_OCTAVES = 1.2
ROUGH_ERROR_DB = 1.0
"""Real spectra stray from these templates smoothly by about 3 dB, and a little from band to band. Judgement."""


def templates_db() -> NDArray[np.float64]:
    """Band power of each template, dB [shape=(S, 13)]."""
    octaves = np.log2(CENTRES_HZ / 4000.0)
    width = 10.0 * np.log10(BANDWIDTH_HZ)
    # Templates are power densities, bands sum them: each gains by its width.
    return np.array([s * octaves - c * octaves**2 + width for s in SLOPES_DB_PER_OCTAVE for c in BENDS_DB_PER_OCTAVE2])


def error_cov() -> NDArray[np.float64]:
    """Covariance of a leak's log spectrum about its template, nepers squared [shape=(13, 13)]."""
    octaves = np.log2(CENTRES_HZ)
    smooth = np.exp(-0.5 * ((octaves[:, None] - octaves) / SMOOTH_ERROR_OCTAVES) ** 2)
    db2 = SMOOTH_ERROR_DB**2 * smooth + ROUGH_ERROR_DB**2 * np.eye(len(octaves))
    return np.asarray(db2 * (np.log(10.0) / 10.0) ** 2)
