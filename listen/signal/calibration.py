"""Level calibration: what sound pressure level full scale stands for, from a clip of a 1 kHz calibrator."""

import numpy as np

from listen.errors import ClipError
from listen.signal.clip import Clip
from listen.signal.spectra import spectra

CALIBRATOR_HZ = 1_000.0
"""Frequency of a sound calibrator (IEC 60942)."""
NEAR_HZ = 60.0
"""The tone is sought this far about 1 kHz: a calibrator holds 1 %, a Hann main lobe is 47 Hz to either side."""
LEAST_SHARE = 0.8
"""Share of the clip's power that must lie in the tone; else it is no calibrator, or not well seated."""
MOST_WANDER_DB = 0.5
"""A seated calibrator is steady to a tenth of a decibel; more means that it was still being pushed on."""


def full_scale_db_spl(clip: Clip, calibrator_db: float) -> float:
    """Sound pressure level that a full-scale sine would have, dB re 20 micropascal.

    Raises
    ------
    ClipError
        No steady 1 kHz tone fills the clip, or it clips.
    """
    s = spectra(clip)
    near = np.abs(s.freq_hz - CALIBRATOR_HZ) <= NEAR_HZ
    tone = s.power[:, near].sum(axis=1, dtype=np.float64)
    share = float(tone.sum() / max(float(s.power.sum(dtype=np.float64)), 1e-30))
    if share < LEAST_SHARE:
        raise ClipError(
            f"{100 * share:.0f} % of the sound is a 1 kHz tone, {100 * LEAST_SHARE:.0f} % is needed; "
            "seat the calibrator on the microphone, switch it on, and try again"
        )
    levels = 10 * np.log10(np.maximum(tone, 1e-30))
    if (wander := float(np.quantile(levels, 0.95) - np.quantile(levels, 0.05))) > MOST_WANDER_DB:
        raise ClipError(f"the tone wanders by {wander:.1f} dB, {MOST_WANDER_DB} is the limit; hold still and try again")
    if float(np.abs(clip.samples).max()) >= 0.999:
        raise ClipError("the calibrator drives the input into clipping; turn the input down and try again")
    sine_full_scale = 0.5  # mean square of a full-scale sine
    return float(calibrator_db - 10 * np.log10(float(tone.mean()) / sine_full_scale))
