"""Quiet against air, quiet against quiet: a changed gain or microphone is told, a leak is not taken for one."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from listen.signal import quality_pair
from listen.signal.clip import Clip
from listen.signal.quality_pair import compare_clips, compare_quiets
from listen.signal.spectra import Spectra, spectra

RATE = 48_000
N = 4 * RATE


def shop(seed: int, slope: float = 1.0) -> np.ndarray:
    spectrum = np.fft.rfft(np.random.default_rng(seed).normal(size=N))
    f = np.fft.rfftfreq(N, 1 / RATE)
    x = np.fft.irfft(spectrum * np.maximum(f, 100.0) ** (-slope / 2) * (f > 20), N)
    return 0.05 * x / x.std()


def jet(level: float, seed: int = 77) -> np.ndarray:
    x = np.diff(np.random.default_rng(seed).normal(size=N + 1))
    return level * x / x.std()


def db(x: float) -> float:
    return 10 ** (x / 20)


def tilted(x: np.ndarray) -> np.ndarray:
    """As if the microphone were turned away: 12 dB less at 8 kHz, nothing at 500 Hz."""
    f = np.fft.rfftfreq(N, 1 / RATE)
    return np.fft.irfft(np.fft.rfft(x) * db(1) ** (-3 * np.log2(np.maximum(f, 500.0) / 500.0)), N)


def measured(x: np.ndarray, **particulars: Any) -> tuple[Clip, Spectra]:
    clip = Clip.of(x, RATE, taken=datetime(2026, 1, 5, tzinfo=UTC), **particulars)
    return clip, spectra(clip)


def names(quiet: np.ndarray, air: np.ndarray) -> list[str]:
    return [f.flag for f in compare_clips(measured(quiet), measured(air))]


@pytest.mark.parametrize("leak", [0.0, 0.001, 0.01, 0.1, 1.0])
@pytest.mark.parametrize("slope", [0.0, 1.0, 2.0])
def test_a_leak_however_loud_is_no_fault(leak: float, slope: float) -> None:
    assert names(shop(1, slope), shop(2, slope) + jet(leak)) == []


@pytest.mark.parametrize("drift_db", [-1.0, 0.5, 1.0])
def test_ordinary_drift_is_no_fault(drift_db: float) -> None:
    assert names(shop(1), shop(2) * db(drift_db) + jet(0.01)) == []


@pytest.mark.parametrize("gain_db", [-8.0, -4.0, 4.0])
@pytest.mark.parametrize("leak", [0.0, 0.1])
def test_a_gain_that_moved_is_told_with_and_without_a_leak(gain_db: float, leak: float) -> None:
    flags = compare_clips(measured(shop(1)), measured((shop(2) + jet(leak)) * db(gain_db)))
    assert [f.flag for f in flags] == ["automatic-gain"]
    assert flags[0].value == pytest.approx(gain_db, abs=0.5)


def test_a_turned_microphone_is_told() -> None:
    assert names(shop(1), tilted(shop(2))) == ["moved"]


def test_the_gain_of_the_whole_chain_changes_nothing() -> None:
    pairs = [(shop(1), tilted(shop(2))), (shop(1), shop(2) * db(-6)), (shop(1), shop(2) + jet(0.02))]
    for quiet, air in pairs:
        assert names(quiet, air) == names(0.1 * quiet, 0.1 * air)


def test_particulars_that_differ_are_told() -> None:
    quiet = measured(shop(1), device="bench microphone", gain_db=20.0)
    air = measured(shop(2), device="built-in", gain_db=26.0)
    flags = compare_clips(quiet, air)
    assert [f.flag for f in flags] == ["other-microphone", "other-gain"]
    assert all(f.reject for f in flags)
    assert compare_clips(quiet, measured(shop(2), device="bench microphone", gain_db=20.0)) == ()


def test_another_rate_is_told_and_nothing_else_is_compared() -> None:
    other = Clip.of(shop(2)[: N // 2], 44_100)
    assert [f.flag for f in compare_clips(measured(shop(1)), (other, spectra(other)))] == ["other-rate"]


def test_a_quiet_clip_with_air_in_it_is_told_against_one_without() -> None:
    with_air, without = measured(shop(1, 2.0) + jet(0.01)), measured(shop(2, 2.0))
    assert [f.flag for f in compare_quiets(with_air, without)] == ["quiet-has-air"]
    assert compare_quiets(without, with_air) == compare_quiets(with_air, without)
    assert compare_quiets(without, measured(shop(3, 2.0))) == ()


@pytest.mark.parametrize("drift_db", [-3.0, 0.0, 3.0])
def test_two_quiet_clips_of_a_drifting_shop_are_not_taken_for_air(drift_db: float) -> None:
    assert compare_quiets(measured(shop(1) * db(drift_db)), measured(shop(2))) == ()


def test_unsteady_clips_are_compared_with_more_room() -> None:
    t = np.arange(N) / RATE
    waver = 10 ** (np.sin(2 * np.pi * 0.3 * t) * 6 / 20)
    assert names(shop(1) * waver, shop(2) * waver[::-1] * db(-3)) == []


def test_a_shift_of_all_bands_is_told_from_2_db_and_from_four_times_the_clips_own_unrest() -> None:
    low, hiss = np.zeros(4), np.zeros(6)
    assert [quality_pair._common_shift(low + x, hiss + x, 0.1) is not None for x in (1.9, 2.1)] == [False, True]
    assert [quality_pair._common_shift(low + x, hiss + x, 1.0) is not None for x in (3.9, 4.1)] == [False, True]
    uneven = np.array([0.0, 0.0, 0.0, 1.0])
    assert [quality_pair._common_shift(4 + x * uneven, hiss + 4, 0.1) is not None for x in (1.1, 1.3)] == [True, False]


def test_a_band_that_fell_is_told_from_3_db() -> None:
    fell = np.array([0.0, 0.0, 0.0, 0.0, -1.0, -1.0])
    assert [quality_pair._colouration(x * fell, 0.1) is not None for x in (2.9, 3.1)] == [False, True]
    assert [quality_pair._colouration(x * fell, 1.0) is not None for x in (3.9, 4.1)] == [False, True]


def test_hiss_in_one_of_two_quiet_clips_is_told_from_1_db_above_and_1_db_more_than_below(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    clips = measured(shop(1)), measured(shop(2))

    def told(hiss_db: float, low_db: float, unrest: float = 0.1) -> bool:
        monkeypatch.setattr(quality_pair, "_shifts", lambda *_: (np.full(4, low_db), np.full(6, hiss_db), unrest))
        return bool(compare_quiets(*clips))

    assert [told(db, 0.0) for db in (0.95, 1.05)] == [False, True]
    assert [told(db, 0.0, 0.5) for db in (1.9, 2.1)] == [False, True]
    assert [told(4.0, low) for low in (3.1, 2.9)] == [False, True]
