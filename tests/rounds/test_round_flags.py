"""Flags that only a point's clips together raise, each on clips made for it, and neither on a plain leak."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from listen.judge.result import PointResult
from listen.rounds.evaluate import judge_points
from listen.rounds.model import Facts
from listen.signal.clip import Clip
from listen.signal.point import measure_point
from listen.trade.points import Kind
from tests.signal.test_quality import RATE, SECONDS, jet, shop

SAMPLES = int(RATE * SECONDS)
T_S = np.arange(SAMPLES) / RATE


def judged(quiet: NDArray[np.float64], air: NDArray[np.float64], again: NDArray[np.float64]) -> PointResult:
    """The tailpipe of a round with these three clips."""
    kinds = (Kind.QUIET, Kind.AIR, Kind.QUIET)
    clips = [(kind, Clip.of(x, RATE)) for kind, x in zip(kinds, (quiet, air, again), strict=True)]
    return judge_points("", [measure_point("tailpipe", clips)], Facts()).points[0]


def hiss(level: float) -> NDArray[np.float64]:
    return level * jet(np.random.default_rng(4), SAMPLES)


def hammered(depth: float) -> NDArray[np.float64]:
    """A hiss that a tool beats twelve times a second: too quick to begin and end within a quarter second."""
    return hiss(0.1) * np.where(T_S * 12 % 1 < 0.5, 1.0, depth)


def whine(seed: int, freq_hz: int) -> NDArray[np.float64]:
    """Gears at one speed: every harmonic up to 20 kHz, each at a phase of its own."""
    harmonics = np.arange(freq_hz, 20_000, freq_hz)
    spectrum = np.zeros(SAMPLES // 2 + 1, dtype=np.complex128)
    phases = np.random.default_rng(seed).uniform(0.0, 2.0 * np.pi, len(harmonics))
    spectrum[np.rint(harmonics * SECONDS).astype(int)] = np.exp(1j * phases)
    tones = np.fft.irfft(spectrum, SAMPLES)
    return np.asarray(0.003 * shop(seed=seed) + 0.05 * tones / tones.std())


@pytest.mark.parametrize("depth", [0.25, 0.5])
def test_a_hiss_that_comes_in_beats_is_an_increase_in_events(depth: float) -> None:
    quiet, again = 0.3 * shop(seed=1), 0.3 * shop(seed=3)
    found = judged(quiet, 0.3 * shop(seed=2) + hammered(depth), again)
    assert found.detected
    assert [(f.flag, f.limit, f.reject) for f in found.flags] == [
        ("increase-in-events", pytest.approx(2.0, abs=0.01), False)
    ]
    steady = judged(quiet, 0.3 * shop(seed=2) + hiss(0.1), again)
    assert steady.detected and steady.flags == ()


def test_a_whine_of_changing_speed_leaves_no_band_for_a_hiss() -> None:
    """Harmonics 200 Hz apart stand elsewhere in every clip: together they fill all bands. At one speed they do not."""
    air = hiss(0.001)
    found = judged(whine(1, 200), whine(2, 220) + air, whine(3, 240))
    assert [(f.value, f.limit, f.reject) for f in found.flags if f.flag == "no-hiss-band"] == [(0, 4, True)]
    assert found.excess_db is None
    same = judged(whine(1, 200), whine(2, 200) + air, whine(3, 200))
    assert "no-hiss-band" not in {f.flag for f in same.flags}
