"""A calibrator's tone gives the level of full scale; anything that is no calibrator is refused."""

from __future__ import annotations

import numpy as np
import pytest

from listen.errors import ClipError
from listen.signal.clip import Clip
from listen.signal.quality_mic import full_scale_db_spl

RATE_HZ = 48_000
TIME_S = np.arange(3 * RATE_HZ) / RATE_HZ


@pytest.mark.parametrize(("hz", "peak_db"), [(1000.0, -30.0), (1000.0, -10.0), (995.0, -30.0)])
def test_level_of_full_scale(hz: float, peak_db: float) -> None:
    tone = 10 ** (peak_db / 20) * np.sin(2 * np.pi * hz * TIME_S)
    noise = np.random.default_rng(1).standard_normal(len(tone)) * 1e-4
    assert full_scale_db_spl(Clip.of(tone + noise, RATE_HZ), 94.0) == pytest.approx(94.0 - peak_db, abs=0.1)


def test_what_is_no_calibrator_is_refused() -> None:
    noise = np.random.default_rng(1).standard_normal(len(TIME_S)) * 0.01
    with pytest.raises(ClipError, match="1 kHz tone"):
        full_scale_db_spl(Clip.of(noise, RATE_HZ), 94.0)
    rising = np.linspace(0.1, 0.5, len(TIME_S)) * np.sin(2 * np.pi * 1000 * TIME_S)
    with pytest.raises(ClipError, match="wanders"):
        full_scale_db_spl(Clip.of(rising, RATE_HZ), 114.0)
    with pytest.raises(ClipError, match="clipping"):
        full_scale_db_spl(Clip.of(np.clip(1.02 * np.sin(2 * np.pi * 1000 * TIME_S), -1, 1), RATE_HZ), 114.0)
