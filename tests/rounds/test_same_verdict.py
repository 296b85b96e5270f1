"""Protects what must not matter: the recorder's gain, the order of takes, the order of files."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from listen.judge.result import RoundResult
from listen.rounds.evaluate import evaluate
from listen.rounds.loose import read_folder


def _close(a: RoundResult, b: RoundResult, abs_db: float) -> None:
    assert (a.verdict.kind, a.verdict.paths) == (b.verdict.kind, b.verdict.paths)
    assert [p.point for p in a.points] == [p.point for p in b.points]
    for p, q in zip(a.points, b.points, strict=True):
        assert p.excess_db == pytest.approx(q.excess_db, abs=abs_db)
        assert p.detected == q.detected
    odds = {p.path: p.probability for p in a.paths}
    assert odds == pytest.approx({p.path: p.probability for p in b.paths}, abs=abs_db / 5)


@pytest.fixture(scope="module")
def before(leak: Path) -> RoundResult:
    """What the round gives as it is."""
    return evaluate(read_folder(leak))


@pytest.mark.parametrize("gain_db", [-12.0, 6.0])
def test_gain_changes_nothing(before: RoundResult, leak_copy: Path, gain_db: float) -> None:
    """The knob on the recorder stands where it stands; the level says so, the excess does not move."""
    for path in leak_copy.glob("*.flac"):
        samples, rate_hz = soundfile.read(path)
        soundfile.write(path.with_suffix(".wav"), samples * 10 ** (gain_db / 20), rate_hz, subtype="FLOAT")
        path.unlink()
    after = evaluate(read_folder(leak_copy))
    _close(before, after, 0.05)
    assert before.verdict.paths == ("intake-valve",)
    for p, q in zip(before.points, after.points, strict=True):
        if p.detected and p.level_db is not None and not p.level_is_upper_bound:
            assert q.level_db == pytest.approx(p.level_db + gain_db, abs=0.1)


def test_order_of_files_changes_nothing(before: RoundResult, leak: Path) -> None:
    """Takes handed over in any order are the same round: same excess, odds within a thousandth."""
    round_ = read_folder(leak)
    _close(evaluate(replace(round_, takes=round_.takes[::-1])), before, 0.005)


def test_order_of_takes_changes_nothing(before: RoundResult, leak_copy: Path) -> None:
    """Air first, both quiets after it: another bracket, the same verdict."""
    for path in sorted(leak_copy.glob("*-quiet-*.flac"), reverse=True):
        stem, n = path.stem.rsplit("-", 1)
        path.rename(path.with_name(f"{stem}-{int(n) + 1}.flac"))
    after = evaluate(read_folder(leak_copy))
    _close(before, after, 0.005)


def test_a_louder_hiss_never_speaks_less(before: RoundResult, leak_copy: Path) -> None:
    """The intake's quiet clips 6 dB down where hiss is: more excess there, the intake valve no less involved.

    Below 800 Hz they stay: all bands down would be another gain, and refused.
    """
    for path in leak_copy.glob("intake-quiet-*.flac"):
        samples, rate_hz = soundfile.read(path)
        spectrum = np.fft.rfft(samples)
        spectrum[np.fft.rfftfreq(len(samples), 1 / rate_hz) > 800] /= 2
        soundfile.write(path, np.fft.irfft(spectrum, len(samples)), rate_hz, subtype="PCM_24")
    after = evaluate(read_folder(leak_copy))
    assert after.points[0].excess_db == pytest.approx((before.points[0].excess_db or 0) + 6, abs=0.3)
    involved = {p.path: p.involved for p in after.paths}["intake-valve"]
    assert involved >= {p.path: p.involved for p in before.paths}["intake-valve"] - 0.01
