"""What a few seconds of the shop say about a microphone: good for hiss, usable, or not usable, and why;
and what sound pressure level full scale stands for, from a clip of a 1 kHz calibrator."""

import numpy as np
from msgspec import Struct

from listen.errors import ClipError
from listen.signal.clip import Clip
from listen.signal.flags import Flag
from listen.signal.quality import check_clip
from listen.signal.quality_spectrum import usable_band_hz
from listen.signal.spectra import Spectra, spectra

FLOOR_QUANTILE = 0.1
"""The quiet tenth of the frames stands for the floor."""
SHOP_FLAGS = frozenset({"unsteady", "rumble", "too-short"})
"""Flags that speak of the shop or the clip, not of the microphone."""


class MicReport(Struct, frozen=True, kw_only=True):
    """A microphone judged by one clip."""

    verdict: str
    """``good``, ``usable`` or ``not-usable``."""
    text: str
    """The verdict in one sentence."""
    rate_hz: int
    bandwidth_hz: float
    """Upper edge of the band that carries sound."""
    floor_dbfs: float
    """Level of the quietest tenth of the frames, 1 kHz to the upper edge."""
    clipped: bool
    signs: tuple[Flag, ...]
    """Flags that speak of the microphone: gain control, suppression, lost samples and the like."""


def check_microphone(clip: Clip, spectra: Spectra) -> MicReport:
    """Judge a microphone by a clip of the shop as it is; a knock or two on the bench lets it show gain control."""
    flags = check_clip(clip, spectra)
    edge = usable_band_hz(spectra)
    # A noisy shop is no fault of the microphone.
    signs = tuple(flag for flag in flags if flag.flag not in SHOP_FLAGS)
    verdict, text = _verdict(signs, edge)
    return MicReport(
        verdict=verdict,
        text=text,
        rate_hz=clip.rate_hz,
        bandwidth_hz=edge,
        floor_dbfs=_floor_dbfs(spectra, edge),
        clipped=any(flag.flag == "clipping" for flag in flags),
        signs=signs,
    )


def _verdict(signs: tuple[Flag, ...], edge_hz: float) -> tuple[str, str]:
    bad = [flag for flag in signs if flag.reject]
    if bad:
        return "not-usable", f"Not usable, because of this: {bad[0].text}"
    if signs:
        return "usable", f"Usable, but note: {signs[0].text}"
    return "good", f"Good for hiss to {min(edge_hz, 16_000.0) / 1000:.0f} kHz."


def _floor_dbfs(spectra: Spectra, edge_hz: float) -> float:
    # Of a narrow voice path a part of what it lets through.
    band = (spectra.freq_hz >= min(1000.0, edge_hz / 4)) & (spectra.freq_hz <= edge_hz)
    floor = float(np.quantile(spectra.power[:, band].sum(axis=1), FLOOR_QUANTILE))
    return float(10 * np.log10(max(floor, 1e-20)))


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

    Raises ClipError: no steady 1 kHz tone fills the clip, or it clips."""
    s = spectra(clip)
    near = np.abs(s.freq_hz - CALIBRATOR_HZ) <= NEAR_HZ
    tone = s.power[:, near].sum(axis=1, dtype=np.float64)
    share = float(tone.sum() / max(float(s.power.sum(dtype=np.float64)), 1e-30))
    if share < LEAST_SHARE:
        raise ClipError(
            f"{100 * share:.0f} % of the sound is a 1 kHz tone, {100 * LEAST_SHARE:.0f} % is needed; "
            "seat the calibrator on the microphone, switch it on, and try again"
        )
    # Over the inner nine tenths: one knock on the bench is no wandering.
    levels = 10 * np.log10(np.maximum(tone, 1e-30))
    if (wander := float(np.quantile(levels, 0.95) - np.quantile(levels, 0.05))) > MOST_WANDER_DB:
        raise ClipError(f"the tone wanders by {wander:.1f} dB, {MOST_WANDER_DB} is the limit; hold still and try again")
    if float(np.abs(clip.samples).max()) >= 0.999:
        raise ClipError("the calibrator drives the input into clipping; turn the input down and try again")
    sine_full_scale = 0.5  # mean square of a full-scale sine
    return float(calibrator_db - 10 * np.log10(float(tone.mean()) / sine_full_scale))
