"""Sounds of a shop that are not steady noise: tones, bursts of speech, clanks, ratchets, knocks, drips, bubbles.

Each maker takes (rng, n, rate_hz, numbers) and returns samples [shape=(n,)] whose peak (events) or power (tones,
speech) is one.
"""

from collections.abc import Callable, Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from listen.lab.simulator.curves import OCTAVES, curve, gaussian, power_gain

Samples = NDArray[np.float32]
Maker = Callable[[np.random.Generator, int, int, Mapping[str, float]], Samples]

CONSONANTS = curve(-2.2 * ((OCTAVES - 2.46) / 0.45) ** 2)
BREATH = curve(-2.2 * (OCTAVES + 0.15) ** 2)
"""Spectra of the noisy parts of speech: bells about 5.5 kHz and 0.9 kHz."""
BUBBLE_Q = (30.0, 47.0)
"""Quality factor of a bubble's ring-down (METHOD section 5: millimetre air bubbles in water)."""
BUBBLE_HZ = (300.0, 4000.0)
"""Range of bubble tones; 3.26 m/s over the radius (Minnaert 1933)."""


def wander(rng: np.random.Generator, times_s: NDArray[np.float64], sd: float, tau_s: float) -> NDArray[np.float64]:
    """A level that wanders about zero (Ornstein-Uhlenbeck) and forgets itself in ``tau_s``, at increasing times.

    Returns [shape=(n,)], in the unit of ``sd``.
    """
    kicks = rng.normal(0, sd, len(times_s))
    keep = np.exp(-np.diff(times_s) / tau_s)
    kicks[1:] *= np.sqrt(1 - keep**2)
    x: list[float] = [float(kicks[0])]
    for kept, kick in zip(keep.tolist(), kicks[1:].tolist(), strict=True):
        x.append(kept * x[-1] + kick)
    return np.array(x)


Event = tuple[float, Samples]
"""Where it begins, samples from the start of the clip, and what sounds; it may ring on beyond the end."""


def _scattered(thing: Callable[[np.random.Generator, int, int, int, Mapping[str, float]], Iterator[Event]]) -> Maker:
    """Let a thing sound ``per_s`` times a second, at random; it is told (rng, when, n, rate_hz, numbers)."""

    def made(rng: np.random.Generator, n: int, rate_hz: int, numbers: Mapping[str, float]) -> Samples:
        out = np.zeros(n, dtype=np.float32)
        for when in np.sort(rng.integers(0, n, int(rng.poisson(numbers["per_s"] * n / rate_hz)))):
            for at, event in thing(rng, int(when), n, rate_hz, numbers):
                begins = int(at)
                # What rings on beyond the clip is cut with it.
                room = min(len(event), n - begins)
                out[begins : begins + room] += event[:room]
        return out

    return made


def _ring(rng: np.random.Generator, rate_hz: int, freq_hz: float, decay_s: float) -> Samples:
    """A decaying tone with a rise of half a period; peak about one."""
    t = np.arange(int(6 * decay_s * rate_hz) + 8) / rate_hz
    rise = np.minimum(1.0, t * 2 * freq_hz)
    tone = np.sin(2 * np.pi * freq_hz * t + rng.uniform(0, 2 * np.pi)) * np.exp(-t / decay_s) * rise
    return np.asarray(tone, dtype=np.float32)


def tones(rng: np.random.Generator, n: int, rate_hz: int, numbers: Mapping[str, float]) -> Samples:
    """Harmonics of ``base_hz``, ``tilt_db`` an octave, up to ``top_hz``, slowly wandering in pitch.

    ``machine`` is the seed of how loud each of them is: one machine keeps it from clip to clip. Without it every clip
    has its own.
    """
    machine = np.random.default_rng(int(numbers["machine"])) if "machine" in numbers else rng
    # Below half the rate: what lies above would fold down as another tone.
    base, top = numbers["base_hz"], min(numbers["top_hz"], 0.45 * rate_hz)
    t = np.arange(n, dtype=np.float64) / rate_hz
    # In seconds: pitch strays by 0.06 to 0.3 %, so that no line stands still for a whole clip.
    wander = 1e-3 * np.sin((2 * np.pi * rng.uniform(0.1, 0.5) * t + rng.uniform(0, 6.28)).astype(np.float32))
    phase = np.asarray(2 * np.pi * base * (t + wander) % (2 * np.pi), dtype=np.float32)
    orders = np.arange(1, max(2, int(top / base)))
    lines = int(numbers.get("lines", 12))
    chosen = orders if len(orders) <= lines else np.unique(np.rint(np.geomspace(1, orders[-1], lines)).astype(int))
    out = np.zeros(n, dtype=np.float32)
    power = 0.0
    for k in chosen:
        amplitude = 10 ** ((numbers["tilt_db"] * np.log2(k) + machine.normal(0, 4)) / 20)
        out += np.float32(amplitude) * np.sin(np.float32(k) * phase + np.float32(rng.uniform(0, 6.28)))
        # Of a sine, whose mean square is half of its amplitude's.
        power += amplitude**2 / 2
    return np.asarray(out / np.float32(np.sqrt(power)), dtype=np.float32)


def _envelope(rng: np.random.Generator, n: int, rate_hz: int, gap_s: float, burst_s: float) -> Samples:
    """Syllables in phrases: zero in the gaps, raised-cosine humps at 3-6 a second inside the phrases."""
    step = rate_hz // 200
    count = n // step + 2
    gate = np.zeros(count, dtype=np.float64)
    at = -int(rng.uniform(0, burst_s) * 200)
    while at < count:
        length = int(rng.exponential(burst_s) * 200) + 30
        t = np.arange(length) / 200
        hump = np.sin(np.pi * (rng.uniform(3, 6) * t + rng.uniform())) ** 2 * rng.uniform(0.4, 1.0)
        lo, hi = max(at, 0), min(at + length, count)
        if hi > lo:
            gate[lo:hi] = hump[lo - at : hi - at]
        at += length + int(rng.exponential(gap_s) * 200) + 20
    return np.interp(np.arange(n) / step, np.arange(count), gate).astype(np.float32)


def speech(rng: np.random.Generator, n: int, rate_hz: int, numbers: Mapping[str, float]) -> Samples:
    """Speech-like bursts: voiced harmonics below 4 kHz and breathy consonants at 3-9 kHz, with gaps between."""
    pitch = numbers["pitch_hz"]
    consonants = np.fft.irfft(gaussian(rng, power_gain(CONSONANTS, n, rate_hz), n), n)
    breath = np.fft.irfft(gaussian(rng, power_gain(BREATH, n, rate_hz), n), n)
    voice = tones(rng, n, rate_hz, {"base_hz": pitch, "top_hz": 3800.0, "tilt_db": -5.0, "lines": 9})
    gap, burst = numbers["gap_s"], numbers["burst_s"]
    syllables = _envelope(rng, n, rate_hz, gap, burst)
    out = syllables * (voice + 0.3 * breath / np.std(breath))
    out += 0.25 * _envelope(rng, n, rate_hz, gap * 1.5, burst / 3) * consonants / np.std(consonants)
    return np.asarray(out, dtype=np.float32)


@_scattered
def clanks(rng: np.random.Generator, when: int, n: int, rate_hz: int, numbers: Mapping[str, float]) -> Iterator[Event]:
    """Struck metal: five inharmonic modes of 0.6-9 kHz ringing 20-200 ms."""
    loud = np.float32(10 ** (rng.uniform(-20, 0) / 20) / 3)
    for _ in range(5):
        freq = float(np.exp(rng.uniform(np.log(600), np.log(9000))))
        yield when, loud * _ring(rng, rate_hz, freq, float(rng.uniform(0.004, 0.035)))


@_scattered
def knocks(rng: np.random.Generator, when: int, n: int, rate_hz: int, numbers: Mapping[str, float]) -> Iterator[Event]:
    """Dull broadband thumps of 2-10 ms."""
    t = np.arange(int(0.03 * rate_hz)) / rate_hz
    burst = rng.standard_normal(len(t)) * np.exp(-t / rng.uniform(0.0007, 0.003)) / 3
    yield when, (burst * 10 ** (rng.uniform(-15, 0) / 20)).astype(np.float32)


@_scattered
def ratchet(rng: np.random.Generator, when: int, n: int, rate_hz: int, numbers: Mapping[str, float]) -> Iterator[Event]:
    """Strokes of a ratchet handle: 5-20 clicks at ``clicks_hz``."""
    freq = float(rng.uniform(2000, 7000))
    for k in range(int(rng.integers(5, 20))):
        at = when + k * rate_hz / numbers["clicks_hz"] * rng.uniform(0.93, 1.07)
        if int(at) < n:
            yield at, np.float32(rng.uniform(0.4, 1)) * _ring(rng, rate_hz, freq, 0.0012)


@_scattered
def drips(rng: np.random.Generator, when: int, n: int, rate_hz: int, numbers: Mapping[str, float]) -> Iterator[Event]:
    """Drops into a pan: a click, then a short tone of 1-4 kHz that rises in pitch."""
    loud = np.float32(10 ** (rng.uniform(-12, 0) / 20))
    start_hz, rise = float(rng.uniform(900, 3500)), float(rng.uniform(1.1, 1.8))
    t = np.arange(int(0.05 * rate_hz)) / rate_hz
    phase = 2 * np.pi * start_hz * (t + (rise - 1) * t**2 / 0.1)
    plop = np.sin(phase) * np.exp(-t / rng.uniform(0.003, 0.010))
    yield when, loud * _ring(rng, rate_hz, 6000.0, 0.0006)
    yield int(when + rng.uniform(0.002, 0.02) * rate_hz) % n, loud * plop.astype(np.float32)


@_scattered
def bubbles(rng: np.random.Generator, when: int, n: int, rate_hz: int, numbers: Mapping[str, float]) -> Iterator[Event]:
    """Bubbles breaking off: Minnaert tones, Q 30-47, mostly 0.6-1.7 kHz; median peak one, spread 4 dB."""
    freq = float(np.clip(np.exp(rng.normal(np.log(1000), 0.55)), *BUBBLE_HZ))
    decay_s = float(rng.uniform(*BUBBLE_Q)) / (np.pi * freq)
    yield when, np.float32(10 ** (rng.normal(0, 4) / 20)) * _ring(rng, rate_hz, freq, decay_s)


MAKERS: dict[str, Maker] = {
    "tones": tones,
    "speech": speech,
    "clanks": clanks,
    "knocks": knocks,
    "ratchet": ratchet,
    "drips": drips,
}
"""One row a kind of background sound that is not Gaussian noise."""
