"""Protects the unit of levels: a calibrated microphone gives dB SPL, and moves nothing but the level."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import msgspec
import numpy as np
import pytest

from listen.audio.write import write_clip
from listen.rounds.evaluate import evaluate
from listen.rounds.loose import read_folder
from listen.signal.clip import Clip
from listen.signal.quality_mic import full_scale_db_spl
from tests.rounds.made import RATE_HZ, plain

SINE_DB = 3.0103


def test_levels_are_in_db_spl_where_the_microphone_was_calibrated(tmp_path: Path) -> None:
    """Only level and unit change, by the calibration."""
    round_ = read_folder(plain(tmp_path / "r"))
    before = evaluate(round_).points[0]
    facts = msgspec.structs.replace(round_.facts, calibration_db=120.0)
    after = evaluate(dataclasses.replace(round_, facts=facts)).points[0]
    assert (before.level_unit, after.level_unit) == ("dBFS", "dB SPL")
    assert before.level_db is not None and after.level_db == pytest.approx(before.level_db + 120.0, abs=2e-3)
    same = msgspec.structs.replace(after, level_db=before.level_db, level_unit="dBFS")
    assert same == before


def test_a_hiss_of_known_pressure_is_given_in_its_own_level(tmp_path: Path) -> None:
    """A calibrator at 94 dB at 0.1 of full scale (rms): hiss of that rms within the bands is 94 dB SPL."""
    time_s = np.arange(2 * RATE_HZ) / RATE_HZ
    tone = Clip.of(np.sqrt(2) * 0.1 * np.sin(2 * np.pi * 1000 * time_s), RATE_HZ)
    calibration = full_scale_db_spl(tone, 94.0) + SINE_DB
    rng = np.random.default_rng(8)
    freq = np.fft.rfftfreq(time_s.size, 1 / RATE_HZ)
    for name, rms in (("intake-quiet-1", 0.001), ("intake-air-1", 0.1), ("intake-quiet-2", 0.001)):
        bins = np.where((freq > 2_000) & (freq < 10_000), np.fft.rfft(rng.standard_normal(time_s.size)), 0)
        hiss = np.fft.irfft(bins, time_s.size)
        noise = 1e-4 * rng.standard_normal(time_s.size)
        write_clip(tmp_path / f"{name}.flac", Clip.of(rms * hiss / np.sqrt(np.mean(hiss**2)) + noise, RATE_HZ))
    round_ = read_folder(tmp_path)
    facts = msgspec.structs.replace(round_.facts, calibration_db=calibration)
    (point,) = evaluate(dataclasses.replace(round_, facts=facts)).points
    assert point.level_unit == "dB SPL" and point.level_db == pytest.approx(94.0, abs=0.5)
