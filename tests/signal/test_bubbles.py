"""Bubbles are found by their shape, whatever the gain; clicks, clanks, ratchets, tones, hiss and speech are not."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from listen.signal.bubbles import bubble_events
from listen.signal.clip import Clip

RATE = 48_000
SECONDS = 4.0
ONSETS_S = np.array([0.31, 0.74, 1.02, 1.55, 1.9, 2.4, 2.83, 3.37])
FREQS_HZ = np.array([660.0, 1100.0, 850.0, 1640.0, 720.0, 1400.0, 980.0, 1250.0])


def noise(rate_hz: int = RATE, level: float = 0.01, seed: int = 1) -> np.ndarray:
    """Pink shop noise."""
    n = int(rate_hz * SECONDS)
    spectrum = np.fft.rfft(np.random.default_rng(seed).normal(size=n))
    x = np.fft.irfft(spectrum / np.sqrt(np.maximum(np.fft.rfftfreq(n, 1 / rate_hz), 50.0)), n)
    return level * x / x.std()


def ring(rate_hz: int, onset_s: float, freq_hz: float, tau_s: float) -> np.ndarray:
    x = np.zeros(int(rate_hz * SECONDS))
    first = int(np.ceil(onset_s * rate_hz))
    sounding = x[first : first + int(40 * tau_s * rate_hz)]  # until it has fallen by 350 dB
    t = (first + np.arange(len(sounding))) / rate_hz - onset_s
    sounding[:] = (1 - np.exp(-t / 4e-4)) * np.exp(-t / tau_s) * np.sin(2 * np.pi * freq_hz * t)
    return x


def bubbles(rate_hz: int = RATE, q: float = 38.0) -> np.ndarray:
    rings = [ring(rate_hz, t, f, q / (np.pi * f)) for t, f in zip(ONSETS_S, FREQS_HZ, strict=True)]
    return np.sum(rings, axis=0)


def count(x: np.ndarray, rate_hz: int = RATE) -> int:
    return bubble_events(Clip.of(x, rate_hz)).count


@pytest.mark.parametrize("rate", [16_000, 22_050, 44_100, 48_000, 96_000, 192_000])
def test_bubbles_are_found_at_their_times_and_frequencies(rate: int) -> None:
    events = bubble_events(Clip.of(noise(rate) + 0.06 * bubbles(rate), rate))
    found = 0
    for t, f in zip(ONSETS_S, FREQS_HZ, strict=True):
        near = (np.abs(events.times_s - t) < 0.02) & (np.abs(events.freqs_hz / f - 1) < 0.08)
        found += bool(near.any())
    assert found >= 7
    assert events.count <= 8


@pytest.mark.parametrize("q", [25.0, 30.0, 47.0])
def test_the_dampings_of_real_bubbles_are_taken(q: float) -> None:
    assert 6 <= count(noise() + 0.08 * bubbles(q=q)) <= 9


def eight(freq_hz: float = 1000.0, *, level: float = 0.08, tau_s: float = 0.012, again_after_s: float = 0.0) -> int:
    """How many are counted where eight rings sound, or eight pairs of them."""
    x = noise()
    for t in ONSETS_S:
        x += level * ring(RATE, t, freq_hz, tau_s)
        if again_after_s:
            x += level * ring(RATE, t + again_after_s, freq_hz, tau_s)
    return count(x)


def test_bubbles_from_eleven_millimetres_to_eight_tenths_are_counted() -> None:
    """Radius: 3.26 m/s over 300 Hz and 4 kHz; each with the damping of a real one, Q 38."""
    counted = [eight(hz, tau_s=38 / (np.pi * hz)) for hz in (250.0, 600.0, 3000.0, 4150.0)]
    assert [n >= 7 for n in counted] == [False, True, True, False]
    assert counted[0] == counted[3] == 0


def test_a_ring_counts_from_a_rise_of_13_db_over_the_shop() -> None:
    """Of rings 9.5 dB apart the loud ones all count, the soft ones not at all."""
    assert eight(level=0.008) == 0
    assert eight(level=0.024) == 8


def test_a_bubble_is_gone_after_some_thirty_milliseconds_but_is_no_click() -> None:
    assert [eight(tau_s=tau_s) >= 7 for tau_s in (0.001, 0.004, 0.020, 0.030)] == [False, True, True, False]
    assert [eight(2000.0, tau_s=q / (np.pi * 2000.0)) >= 7 for q in (6, 20, 60, 90)] == [False, True, True, False]


def test_a_bubble_is_one_tone() -> None:
    """A second one of a third its size may be chance; one of seven tenths makes it a clank."""

    def clank(share: float) -> int:
        rings = sum(ring(RATE, t, 1000.0, 0.012) + share * ring(RATE, t, 2300.0, 0.012) for t in ONSETS_S)
        return count(noise() + 0.08 * rings)

    assert [clank(share) for share in (0.3, 0.7)] == [8, 0]


def test_bubbles_a_twentieth_of_a_second_apart_are_two() -> None:
    assert eight(tau_s=0.006, again_after_s=0.05) == 16


def test_gain_changes_nothing() -> None:
    x = noise() + 0.05 * bubbles()
    loud, soft = bubble_events(Clip.of(x, RATE)), bubble_events(Clip.of(x / 1024, RATE))
    np.testing.assert_array_equal(loud.times_s, soft.times_s)
    assert loud.count > 5


def clicks(rng: np.random.Generator) -> np.ndarray:
    x = np.zeros(int(RATE * SECONDS))
    x[rng.integers(RATE // 4, len(x) - RATE // 4, 40)] = rng.choice([-1.0, 1.0], 40)
    return x


def ratchet(rng: np.random.Generator) -> np.ndarray:
    x = np.zeros(int(RATE * SECONDS))
    for t in np.arange(0.5, 3.5, 0.09):
        i = int(t * RATE)
        x[i : i + 480] += rng.normal(size=480) * np.exp(-np.arange(480) / 96)
    return x


def clanks(rng: np.random.Generator) -> np.ndarray:
    """A dropped spanner: six modes that ring for a tenth to a third of a second."""
    rings = [
        ring(RATE, t, f, tau)
        for t in (0.6, 1.5, 2.6)
        for f, tau in zip(rng.uniform(700, 6000, 6), rng.uniform(0.05, 0.3, 6), strict=True)
    ]
    return np.sum(rings, axis=0)


def steady_tone(rng: np.random.Generator) -> np.ndarray:
    return np.sin(2 * np.pi * 1200 * np.arange(int(RATE * SECONDS)) / RATE)


def switched_tone(rng: np.random.Generator) -> np.ndarray:
    t = np.arange(int(RATE * SECONDS)) / RATE
    return np.sin(2 * np.pi * 1200 * t) * (t % 1.0 > 0.5)


def hiss_that_comes_on(rng: np.random.Generator) -> np.ndarray:
    x = rng.normal(size=int(RATE * SECONDS))
    x[: RATE * 2] = 0
    return x


def voice(rng: np.random.Generator) -> np.ndarray:
    """Vowels of a gliding pitch with twelve harmonics, a syllable every 0.3 s."""
    t = np.arange(int(RATE * SECONDS)) / RATE
    phase = 2 * np.pi * np.cumsum(130 + 25 * np.sin(2 * np.pi * 0.8 * t)) / RATE
    tone = np.sum([np.sin(k * phase) / k for k in range(1, 13)], axis=0)
    return tone * np.maximum(0, np.sin(2 * np.pi * t / 0.6)) ** 0.5


CONFOUNDERS = [clicks, ratchet, clanks, steady_tone, switched_tone, hiss_that_comes_on, voice]


@pytest.mark.parametrize("level", [0.03, 0.3])
@pytest.mark.parametrize("make", CONFOUNDERS, ids=lambda f: f.__name__)
def test_other_sounds_are_not_taken_for_bubbles(
    make: Callable[[np.random.Generator], np.ndarray], level: float
) -> None:
    rng = np.random.default_rng(11)
    assert count(noise(seed=2) + level * make(rng)) <= 1


def test_twenty_clips_of_plain_noise_hold_next_to_no_bubbles() -> None:
    assert sum(count(noise(seed=s)) for s in range(20)) <= 2


def test_bubbles_are_counted_in_a_loud_hiss_that_hides_them_from_a_level_meter() -> None:
    hiss = np.diff(np.random.default_rng(3).normal(size=int(RATE * SECONDS) + 1))
    x = 0.005 * noise(seed=4) / 0.01 + 0.03 * hiss
    ringing = 0.02 * bubbles()
    assert np.std(x + ringing) < 1.02 * np.std(x)
    assert count(x + ringing) >= 6


def test_more_bubbles_give_more_events() -> None:
    rates = []
    for gap_s in (0.8, 0.4, 0.2, 0.1):
        rng = np.random.default_rng(6)
        rings = [ring(RATE, t, f, 38 / np.pi / f) for t in np.arange(0.2, 3.7, gap_s) for f in [rng.uniform(600, 1700)]]
        rates.append(count(noise() + 0.06 * np.sum(rings, axis=0)))
    assert rates == sorted(rates)
    assert rates[-1] >= 20


@pytest.mark.parametrize("samples", [1, 100, 600, 2000])
def test_clips_too_short_for_bubbles_have_none(samples: int) -> None:
    assert count(np.random.default_rng(1).normal(size=samples) * 0.1) == 0


def test_silence_has_none() -> None:
    assert count(np.zeros(RATE)) == 0
