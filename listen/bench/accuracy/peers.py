"""What a user would otherwise script: one number a point, from plain features of its quiet and air clips; at
its best: threshold, temperature and where silence stands are fitted on rounds held apart.

Symbols: x_p the peer's number for path p, T the temperature; odds are softmax(x_p / T). "Sound", "fitting" and
"set-up", which no single point speaks of, stand at fitted numbers of their own.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_softmax, softmax

from listen.bench.accuracy.scores import ALL_PATHS, SOUND, Forecast, earned
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
TINY = 1e-20


def features(clip: Clip) -> dict[str, float]:
    """One number a peer from one clip: powers, and flatness as it is (a ratio)."""
    import librosa
    from scipy.signal import welch

    x, rate = clip.samples, clip.rate_hz
    # Without the bin at 0 Hz, of which the A weighting (IEC 61672-1) would take a logarithm.
    power = np.abs(np.fft.rfft(x)[1:]).astype(np.float64) ** 2 * (2.0 / len(x) ** 2)
    freq = np.fft.rfftfreq(len(x), 1.0 / rate)[1:]
    welch_hz, density = welch(x, rate, nperseg=FRAME, average="median")
    magnitude = np.abs(librosa.stft(np.asarray(x), n_fft=FRAME, hop_length=HOP))
    return {
        "rms": float(np.mean(x.astype(np.float64) ** 2)),
        "a-weighted": float((power * librosa.db_to_power(librosa.A_weighting(freq, min_db=None))).sum()),
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
            # TINY: a clip of digital silence has no logarithm.
            db = 10.0 * float(np.log10(max(over, TINY) / max(under, TINY)))
            for path in point(name).row.own:
                found[str(path)] = max(found.get(str(path), -np.inf), db)
    return out


Numbers = Mapping[str, float]
FIXED = (SOUND, "fitting", "set-up")
NOT_HEARD = -1e6
"""Stands for a path whose point was not recorded: no odds at any temperature."""
LEAST_LOG = -20.0
"""The fit takes no log probability below: a truth that was not recorded would outweigh all other rounds."""
STARTS = (0.3, 1.0, 3.0)
"""Temperatures the fit starts from, as parts of the numbers' spread."""


@dataclass(frozen=True, slots=True)
class Case:
    truth: frozenset[str]
    numbers: Mapping[str, Numbers]
    background: str


@dataclass(frozen=True, slots=True)
class Fitted:
    peer: str
    threshold: float
    """Best for the script that always answers, in its own unit."""
    temperature: float
    fixed: Mapping[str, float]
    """Where what no point speaks of stands among the numbers: sound, fitting, set-up."""

    def odds(self, x: Numbers) -> dict[str, float]:
        stands = {**self.fixed, **x}
        p = softmax(np.array(list(stands.values())) / self.temperature)
        return {name: float(v) for name, v in zip(stands, p, strict=True)}

    def forecast(self, case: Case, *, always: bool = False) -> Forecast:
        """What the peer says of a round; ``always``: as scripted, without the right to say nothing."""
        x = case.numbers[self.peer]
        p = self.odds(x)
        return Forecast(case.truth, p, p, (scripted(x, self.threshold),) if always else earned(p), case.background)


def scripted(x: Numbers, threshold: float) -> str:
    best = max(x, key=lambda p: x[p], default=SOUND)
    return best if best != SOUND and x[best] > threshold else SOUND


def fit(peer: str, cases: Sequence[Case]) -> Fitted:
    """Best threshold by right calls, and temperature by log loss, on ``cases``."""
    from scipy.optimize import minimize

    tops = sorted(max(c.numbers[peer].values(), default=0.0) for c in cases)
    hits = [sum(scripted(c.numbers[peer], t) in c.truth for c in cases) for t in tops]
    # The count of hits changes at these numbers only, so no threshold between them need be tried.
    threshold = tops[int(np.argmax(hits))]
    x, y = _tables(peer, cases)
    spread = float(np.std(tops)) + 1e-3

    def loss(v: NDArray[np.float64]) -> float:
        z = np.concatenate([np.broadcast_to(v[1:], (len(x), len(FIXED))), x], axis=1) / _temperature(v)
        log_p = log_softmax(z, axis=1)
        return float(-(y * np.maximum(log_p, LEAST_LOG)).sum())

    tries = []
    for s in STARTS:
        # Sound starts at the threshold, which a leak must pass; fitting and set-up below it.
        start = [np.log(s * spread), threshold, threshold - spread, threshold - spread]
        tries.append(minimize(loss, start, method="Nelder-Mead", options={"maxiter": 2000}))
    best = min(tries, key=lambda r: r.fun).x
    fixed = {p: float(v) for p, v in zip(FIXED, best[1:], strict=True)}
    return Fitted(peer, threshold, _temperature(best), fixed)


def _temperature(v: NDArray[np.float64]) -> float:
    # The search is unbounded: exp must neither overflow nor divide by 0.
    return float(np.exp(np.clip(v[0], -12.0, 12.0)))


def _tables(peer: str, cases: Sequence[Case]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Numbers of the paths heard, NOT_HEARD where one was not, and truth over all columns [shape=(n, 3 + paths)]."""
    paths = [p for p in ALL_PATHS if p not in FIXED]
    x = np.array([[c.numbers[peer].get(p, NOT_HEARD) for p in paths] for c in cases])
    y = np.array([[(p in c.truth) / len(c.truth) for p in (*FIXED, *paths)] for c in cases])
    return x, y
