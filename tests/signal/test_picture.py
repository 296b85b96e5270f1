"""Pictures keep the faint next to the loud and the full band; listening clips keep length and rate."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

from listen.signal.clip import Clip
from listen.signal.picture import hiss_band, level_matched, picture, split_knocks

RATE = 48_000
T = np.arange(2 * RATE) / RATE


def noise(level: float, seed: int = 1) -> np.ndarray:
    return level * np.random.default_rng(seed).normal(size=2 * RATE)


def test_one_knock_does_not_erase_a_faint_hiss() -> None:
    # Fails if power_to_db's own top_db of 80 dB comes back: all but the knock would sit at one level.
    x = noise(1e-6) + 0.9 * np.sin(2 * np.pi * 300 * T) * (np.abs(T - 1) < 0.05)
    p = picture(Clip.of(x, RATE))
    faint = p.level_db[(p.freqs_hz > 5000), :][:, np.abs(p.times_s - 1) > 0.3]
    assert p.level_db.max() - np.median(faint) > 100
    assert faint.std() > 0.5


def test_the_band_above_11_khz_is_there() -> None:
    # Fails if the sound is brought to 22 050 Hz, librosa's default: nothing above 11 kHz would be left.
    p = picture(Clip.of(noise(1e-4) + 0.1 * np.sin(2 * np.pi * 15_000 * T), RATE))
    loudest = p.freqs_hz[p.level_db.mean(axis=1).argmax()]
    assert loudest == pytest.approx(15_000, rel=0.03)
    assert p.freqs_hz[-1] > 18_000


def test_gain_moves_every_cell_by_the_same_decibels() -> None:
    x = noise(0.1)
    loud, soft = picture(Clip.of(x, RATE)), picture(Clip.of(x * 10**-2, RATE))
    np.testing.assert_allclose(loud.level_db - soft.level_db, 40.0, atol=1e-3)


def test_cells_add_up_to_the_power_of_the_clip() -> None:
    p = picture(Clip.of(noise(0.1), RATE), rows=40)
    assert 10 * np.log10(np.mean(10 ** (p.level_db / 10)) * 1024) == pytest.approx(-20.0, abs=0.3)


@pytest.mark.parametrize(("rows", "columns"), [(1, 1), (24, 60), (96, 240), (400, 5000)])
def test_shapes_never_exceed_what_was_asked_for(rows: int, columns: int) -> None:
    p = picture(Clip.of(noise(0.1), RATE), rows=rows, columns=columns)
    assert p.level_db.shape == (len(p.freqs_hz), len(p.times_s))
    assert 1 <= len(p.freqs_hz) <= rows
    assert 1 <= len(p.times_s) <= columns
    assert np.isfinite(p.level_db).all()
    assert (np.diff(p.freqs_hz) > 0).all()


def test_silence_has_a_picture_of_finite_levels() -> None:
    assert np.isfinite(picture(Clip.of(np.zeros(RATE), RATE)).level_db).all()


def test_the_split_puts_knocks_and_tones_in_their_places() -> None:
    x = noise(1e-4) + 0.1 * np.sin(2 * np.pi * 4000 * T)
    x[RATE] += 0.9
    parts = split_knocks(Clip.of(x, RATE))
    tone = np.argmin(np.abs(parts.lasting.freqs_hz - 4000))
    at = np.argmin(np.abs(parts.lasting.times_s - 1.0))
    away = np.argmin(np.abs(parts.lasting.times_s - 0.4))
    assert parts.lasting.level_db[tone, away] > parts.knocks.level_db[tone, away] + 20
    high = parts.lasting.freqs_hz > 8000
    assert parts.knocks.level_db[high, at].mean() > parts.lasting.level_db[high, at].mean() + 10


def test_the_hiss_band_drops_rumble_and_keeps_hiss_without_delay() -> None:
    hiss = 0.01 * np.sin(2 * np.pi * 5000 * T)
    kept = hiss_band(Clip.of(hiss + 0.5 * np.sin(2 * np.pi * 60 * T), RATE, device="m", name="n"))
    np.testing.assert_allclose(kept.samples, hiss, atol=1e-5)
    assert (kept.rate_hz, kept.device, kept.name) == (RATE, "m", "n")
    assert not kept.samples.flags.writeable


def test_matched_clips_have_one_level_and_do_not_clip() -> None:
    spiky = noise(0.001)
    spiky[5] = 0.9
    a, b = level_matched(Clip.of(spiky, RATE), Clip.of(noise(0.2, 2), RATE))
    levels = [np.sqrt(np.mean(c.samples.astype(float) ** 2)) for c in (a, b)]
    assert levels[0] == pytest.approx(levels[1], rel=1e-4)
    assert max(np.abs(c.samples).max() for c in (a, b)) <= 0.99
    silent = Clip.of(np.zeros(100), RATE)
    assert level_matched(silent, a) == (silent, a)


def test_librosa_is_loaded_only_when_a_picture_is_made() -> None:
    code = "import sys, listen.signal.picture; sys.exit('librosa' in sys.modules or 'scipy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
