"""What a user would otherwise script: one number a point, from plain features of its quiet and air clips."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from listen.signal.clip import Clip
from listen.trade.points import Kind, point

BAND_HZ = (2_000.0, 16_000.0)
FRAME, HOP = 2048, 1024
PEERS = {
    "rms": "raw RMS difference",
    "a-weighted": "A-weighted level difference",
    "band": "2-16 kHz band power",
    "welch": "scipy Welch, median, 2-16 kHz",
    "librosa-rms": "librosa RMS, median frame",
    "librosa-flatness": "librosa spectral flatness",
}
"""Peers by key, in words."""
_A_POLES_HZ = (20.598997, 107.65265, 737.86223, 12194.217)
"""Exact pole frequencies of the A weighting (IEC 61672-1, annex E)."""
TINY = 1e-20


def a_weighting(freq_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Power gain of the A weighting at each frequency [shape=(K,)], 1 at 1 kHz (IEC 61672-1, annex E)."""

    def amplitude(f: NDArray[np.float64]) -> NDArray[np.float64]:
        f1, f2, f3, f4 = (p * p for p in _A_POLES_HZ)
        s = f * f
        return np.asarray(f4 * s * s / ((s + f1) * np.sqrt((s + f2) * (s + f3)) * (s + f4)))

    return np.asarray((amplitude(freq_hz) / amplitude(np.array([1000.0]))) ** 2)


def features(clip: Clip) -> dict[str, float]:
    """One number a peer from one clip: powers, and flatness as it is (a ratio)."""
    import librosa
    from scipy.signal import welch

    x, rate = clip.samples, clip.rate_hz
    power = np.asarray(np.abs(np.fft.rfft(x)) ** 2 * (2.0 / len(x) ** 2), dtype=np.float64)
    freq = np.asarray(np.fft.rfftfreq(len(x), 1.0 / rate), dtype=np.float64)
    welch_hz, density = welch(x, rate, nperseg=FRAME, average="median")
    magnitude = np.abs(librosa.stft(np.asarray(x), n_fft=FRAME, hop_length=HOP))
    return {
        "rms": float(np.mean(x.astype(np.float64) ** 2)),
        "a-weighted": float((power * a_weighting(freq)).sum()),
        "band": float(power[(freq >= BAND_HZ[0]) & (freq <= BAND_HZ[1])].sum()),
        "welch": float(density[(welch_hz >= BAND_HZ[0]) & (welch_hz <= BAND_HZ[1])].sum()),
        "librosa-rms": float(np.median(librosa.feature.rms(S=magnitude, frame_length=FRAME)) ** 2),
        "librosa-flatness": float(np.mean(librosa.feature.spectral_flatness(S=magnitude))),
    }


def numbers(clips: Mapping[str, Sequence[tuple[Kind, Clip]]]) -> dict[str, dict[str, float]]:
    """By peer, the number of each escape path: decibels of air over quiet at the path's own point (its loudest)."""
    out: dict[str, dict[str, float]] = {peer: {} for peer in PEERS}
    for name, takes in clips.items():
        quiet = [features(c) for k, c in takes if k is Kind.QUIET]
        air = [features(c) for k, c in takes if k is Kind.AIR]
        if not quiet or not air:
            continue
        for peer, found in out.items():
            over, under = (float(np.mean([f[peer] for f in group])) for group in (air, quiet))
            db = 10.0 * float(np.log10(max(over, TINY) / max(under, TINY)))
            for path in point(name).row.own:
                found[str(path)] = max(found.get(str(path), -np.inf), db)
    return out
