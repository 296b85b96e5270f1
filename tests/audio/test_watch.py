"""The watch raises each alarm in time and none in a clean run, by a clock of the test's own."""

from __future__ import annotations

import numpy as np
import pytest

from listen.audio.watch import GAP_S, Watch

RATE_HZ = 48_000
BLOCK = 480
NOISE = np.random.default_rng(2).uniform(0.01, 0.1, BLOCK).astype(np.float32)
ZEROS = np.zeros(BLOCK, np.float32)


class Stream:
    """Feeds a watch with blocks of 10 ms by a clock that the test sets."""

    def __init__(self, rate_hz: float = RATE_HZ) -> None:
        self.watch = Watch(RATE_HZ, 0.0)
        self.pace_s = BLOCK / rate_hz
        self.now = 0.0

    def run(self, seconds: float, block: np.ndarray = NOISE, late_s: float = 0.0) -> str:
        """Feed ``seconds`` of blocks, callbacks ``late_s`` late; the first alarm on the way, if any."""
        for _ in range(round(seconds / self.pace_s)):
            self.now += self.pace_s
            self.watch.saw(block, self.now + late_s)
            if found := self.watch.trouble(self.now + late_s):
                return found
        return ""


def test_a_clean_run_of_ten_minutes_raises_nothing() -> None:
    assert Stream().run(600) == ""


@pytest.mark.parametrize("ppm", [-300, 300])
def test_clocks_that_differ_raise_nothing(ppm: int) -> None:
    assert Stream(RATE_HZ * (1 + ppm * 1e-6)).run(600) == ""


def test_late_callbacks_under_load_raise_nothing() -> None:
    stream, rng = Stream(), np.random.default_rng(4)
    for _ in range(300):
        assert stream.run(0.01, late_s=float(rng.uniform(0, 0.25)) if rng.random() < 0.7 else 0.0) == ""


def test_silence_of_callbacks_is_noticed_after_three_quarters_of_a_second() -> None:
    stream = Stream()
    stream.run(2)
    assert stream.watch.trouble(stream.now + 0.74) == ""
    found = stream.watch.trouble(stream.now + 0.76)
    assert "nothing for" in found


def test_a_stream_that_never_begins_is_noticed() -> None:
    found = Watch(RATE_HZ, 5.0).trouble(5.8)
    assert "nothing for" in found


def test_exact_zeros_are_noticed_within_a_second_and_forgotten_with_the_first_sound() -> None:
    stream = Stream()
    stream.run(2)
    began = stream.now
    assert stream.run(5, ZEROS).startswith("has sent exact zeros")
    assert stream.now - began < 0.8
    assert stream.run(1) == ""


def test_a_lost_stretch_is_noticed_once_sound_is_back() -> None:
    stream = Stream()
    stream.run(2)
    stream.now += 0.3
    began = stream.now
    assert stream.run(2).startswith("stalled")
    assert stream.now - began < 0.55


def test_a_lost_stretch_is_forgotten_after_a_while() -> None:
    stream = Stream()
    stream.run(2)
    stream.now += 0.3
    stream.run(0.6)
    for _ in range(400):
        stream.run(0.01)
    assert stream.watch.trouble(stream.now) == ""


def test_a_device_that_runs_at_another_rate_than_it_said_is_noticed() -> None:
    stream = Stream(44_100)
    assert stream.run(5).startswith("stalled")
    assert stream.now < 2.0


@pytest.mark.parametrize(("before", "after"), [(0, 0), (100, 0), (0, 77), (471, 333)])
def test_gaps_are_placed_to_the_sample(before: int, after: int) -> None:
    stream = Stream()
    stream.run(1)
    edge = NOISE.copy()
    edge[BLOCK - before :] = 0
    stream.watch.saw(edge, stream.now)
    for _ in range(6):
        stream.watch.saw(ZEROS, stream.now)
    edge = NOISE.copy()
    edge[:after] = 0
    stream.watch.saw(edge, stream.now)
    begun, length = 101 * BLOCK - before, 6 * BLOCK + before + after
    assert stream.watch.gaps == ((begun / RATE_HZ, length / RATE_HZ),)


def test_shorter_zeros_are_no_gap_and_a_gap_at_the_end_counts() -> None:
    stream = Stream()
    stream.run(1)
    edge = NOISE.copy()
    edge[1:] = 0
    stream.watch.saw(edge, stream.now)
    stream.run(1)
    assert stream.watch.gaps == ()
    stream.run(2 * GAP_S, ZEROS)
    assert len(stream.watch.gaps) == 1
