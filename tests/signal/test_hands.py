"""Hands at the valve that are late, uneven, miss a cycle or forget: never more hiss than there is, nor a false one."""

import numpy as np
import pytest

from listen.lab.simulator.switching_hand import Hand, Spans
from listen.signal.bands import BANDWIDTH_HZ
from listen.signal.excess import excess
from listen.signal.switched import lock
from listen.signal.switching import Timeline, commanded_times, share_at
from listen.signal.switching_found import find, track
from tests.signal.switching import ALL, BIAS, FRAME_DOF, HOP_S

TOLD = commanded_times(4, 5.0)
SEEDS = 24


def _taken(seed: int, hiss_db: float, turns: Spans) -> tuple[np.ndarray, np.ndarray]:
    """Frame-band powers of a take in which the valve was turned so, in a shop that wanders by half a decibel about 1;
    and the frames' times."""
    rng = np.random.default_rng(seed)
    t_s = np.arange(1, int(22.5 / HOP_S)) * HOP_S
    shop = 10 ** (0.01 * np.cumsum(rng.standard_normal(len(t_s))) * np.sqrt(HOP_S))
    shop /= shop.mean()
    on = np.array(turns).reshape(-1, 2)
    share = share_at(t_s, Timeline(on[:, 0], on[:, 1], True, float(rng.uniform(0.15, 1.0)))) if len(on) else 0 * t_s
    noise = rng.gamma(FRAME_DOF / 2, 2 / FRAME_DOF, (len(t_s), 13))
    return noise * (shop + 10 ** (hiss_db / 10) * share)[:, None], t_s


def _told(power: np.ndarray, t_s: np.ndarray) -> tuple[bool, float, bool] | None:
    """Whether a hiss is claimed, the least excess that is claimed, and whether the take is refused; None: no cycles."""
    commanded = Timeline.commanded(TOLD)
    found = lock(power, t_s, find(track(power, t_s, BANDWIDTH_HZ), commanded) or commanded, BANDWIDTH_HZ)
    if found is None:
        return None
    e = excess(found.contrast, found.scatter, ALL, BIAS)
    return e.detected, e.ci95_db[0], found.against


HANDS = {
    "late": Hand((0.5, 1.0)),
    "uneven": Hand(jitter_s=0.3),
    "misses one": Hand(misses=1),
    "misses two": Hand(misses=2),
    "late, uneven and misses one": Hand((0.4, 0.8), 0.25, 1),
}


@pytest.mark.parametrize("name", HANDS)
def test_such_a_hand_never_makes_more_hiss_than_there_is(name: str) -> None:
    """Over many seeds, from faint to loud: what is claimed lies at or below the truth, and a loud hiss is found."""
    for seed in range(SEEDS):
        hiss_db = (-9.0, -3.0, 6.0)[seed % 3]
        turns = HANDS[name].turns(np.random.default_rng(seed), TOLD)
        told = _told(*_taken(seed, hiss_db, turns))
        if told is None:
            assert HANDS[name].misses
            continue
        detected, least_db, refused = told
        assert not refused
        assert least_db < 10 * np.log10(1 + 10 ** (hiss_db / 10)) + 0.3, (seed, hiss_db)
        assert detected or hiss_db < 6.0 or HANDS[name].misses, (seed, hiss_db)


def test_a_hand_that_forgets_makes_no_hiss() -> None:
    """The air never came, or was never shut: nothing follows the tones, and nothing is claimed."""
    for seed in range(SEEDS):
        for turns in ((), ((-1.0, 40.0),)):
            told = _told(*_taken(seed, 6.0, turns))
            assert told is None or not told[0], (seed, turns)


def test_a_hand_that_turns_the_wrong_way_is_told() -> None:
    """Open where it should be shut: refused, never taken for silence."""
    edges = (0.0, *(e for pair in TOLD for e in pair), 22.5)
    wrong = tuple((a + 0.3, b + 0.3) for a, b in zip(edges[::2], edges[1::2], strict=True))
    for seed in range(SEEDS // 2):
        told = _told(*_taken(seed, 3.0, wrong))
        assert told is not None
        assert told[2] and not told[0], seed


def test_a_valve_left_open_in_mid_take_makes_no_more_than_there_is() -> None:
    for seed in range(SEEDS // 2):
        told = _told(*_taken(seed, 3.0, ((2.8, 5.3), (7.8, 40.0))))
        assert told is None or told[1] < 10 * np.log10(1 + 10**0.3) + 0.3, seed
