"""A quiet clip with air in it is told where the point is measured, whichever of the quiet clips it is."""

from __future__ import annotations

import numpy as np
import pytest

from listen.signal.clip import Clip
from listen.signal.point import measure_point
from listen.trade.points import Kind

RATE = 48_000
N = 4 * RATE


def take(seed: int, hiss: float) -> Clip:
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft(rng.normal(size=N))
    shop = np.fft.irfft(spectrum / np.maximum(np.fft.rfftfreq(N, 1 / RATE), 100.0), N)
    jet = np.diff(rng.normal(size=N + 1))
    return Clip.of(0.05 * shop / shop.std() + hiss * jet, RATE)


@pytest.mark.parametrize("which", [0, 1, None])
def test_air_in_a_quiet_clip_is_told_once(which: int | None) -> None:
    levels = [0.02 if which == n else 0.0 for n in range(2)]
    clips = [(Kind.QUIET, take(1, levels[0])), (Kind.AIR, take(2, 0.04)), (Kind.QUIET, take(3, levels[1]))]
    names = [f.flag for f in measure_point("intake", clips).flags]
    assert names == ([] if which is None else ["quiet-has-air"])
