"""The course of a switched take: on and off halves told apart, their difference the hiss, decay as litres a second."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from listen.audio.write import write_clip
from listen.jobs.decay import leak_sentence
from listen.jobs.events import EngineSize, ReadingEntered
from listen.jobs.job import Job, RoundRecord
from listen.rounds.switched_level import switched_level
from listen.signal.clip import Clip
from listen.trade.restrictor import emptied_l, leak_by_decay_l_s, leak_by_hole_l_s, leak_mm

ON_S = ((2.5, 5.0), (7.5, 10.0))


def test_the_course_of_a_take_is_its_switching(tmp_path: Path) -> None:
    """Noise of twice the power with the air on: 3 dB, two cycles, an even off level."""
    rng = np.random.default_rng(1)
    t = np.arange(round(12.5 * 48_000)) / 48_000
    on = sum((t >= a + 0.3) & (t < b + 0.3) for a, b in ON_S)
    samples = (rng.standard_normal(len(t)) * 1e-2 * np.sqrt(1.0 + on)).astype(np.float32)
    write_clip(tmp_path / "take.flac", Clip.of(samples, 48_000))
    seen = switched_level(tmp_path / "take.flac", ON_S)
    assert seen is not None and seen.found and seen.cycles == 2
    assert seen.difference_db == pytest.approx(3.0, abs=0.15)
    assert abs(float(seen.level_db[seen.off].mean())) < 0.1 and not (seen.on & seen.off).any()


def test_a_take_without_switching_has_no_course(tmp_path: Path) -> None:
    noise = (np.random.default_rng(1).standard_normal(5 * 48_000) * 1e-2).astype(np.float32)
    write_clip(tmp_path / "take.flac", Clip.of(noise, 48_000))
    assert switched_level(tmp_path / "take.flac") is None


def test_the_decay_and_the_gauge_speak_of_one_leak() -> None:
    """5 % behind 1.0 mm at 550 kPa is 0.43 l/s; 0.1 l then empty with a time constant of 1.5 s."""
    assert leak_by_hole_l_s(leak_mm(5.0, 1.0, 550.0), 550.0) == pytest.approx(0.43, abs=0.03)
    assert leak_by_decay_l_s(1.51, 0.1, 550.0) == pytest.approx(0.43, abs=0.01)
    assert emptied_l(500.0, 11.0) == pytest.approx(0.05 + 0.028, abs=0.001)


def test_what_is_missing_for_litres_a_second_is_said() -> None:
    record = RoundRecord(id="c1-aa", cylinder=1)
    assert "displacement" in leak_sentence(Job(), record, 0.4)
    known = Job(size=EngineSize(displacement_cc=2000.0, compression_ratio=11.0))
    assert "l/s of free air" in leak_sentence(known, record, 0.4) and "hose" in leak_sentence(known, record, 0.4)
    told = {"displacement": 2000.0, "compression-ratio": 11.0}
    by_facts = Job(readings=tuple(ReadingEntered(reading=id, value=x, unit="", si=x) for id, x in told.items()))
    assert leak_sentence(by_facts, record, 0.4) == leak_sentence(known, record, 0.4)
