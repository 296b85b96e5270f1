"""What a few seconds of the shop say about a microphone: good for hiss, usable, or not usable, and why."""

import numpy as np
from msgspec import Struct

from listen.signal.clip import Clip
from listen.signal.flags import Flag
from listen.signal.quality import check_clip, usable_band_hz
from listen.signal.spectra import Spectra

FLOOR_QUANTILE = 0.1
"""The quiet tenth of the frames stands for the floor."""
SHOP_FLAGS = frozenset({"unsteady", "rumble", "too-short"})
"""Flags that speak of the shop or the clip, not of the microphone."""


class MicReport(Struct, frozen=True, kw_only=True):
    """The verdict on one microphone."""

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
    band = (spectra.freq_hz >= min(1000.0, edge_hz / 4)) & (spectra.freq_hz <= edge_hz)
    floor = float(np.quantile(spectra.power[:, band].sum(axis=1), FLOOR_QUANTILE))
    return float(10 * np.log10(max(floor, 1e-20)))
