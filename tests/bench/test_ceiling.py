"""Protects the bench's statement of what could be known at all: levels as in the clips, shares counted right."""

from __future__ import annotations

import numpy as np

from listen.bench.accuracy.measured import WorldRound, clips_of, drawn, measure_clips
from listen.trade.points import Kind
from tests.bench.ceiling import SLOTS, features, nameable
from tests.bench.ideal_levels import ideal_levels


def test_the_largest_share_of_which_97_in_100_are_right_is_counted_from_the_surest() -> None:
    right = np.ones(200)
    right[[120, 199]] = 0.0  # of the surest 121 one is wrong, of all 200 two
    assert nameable(np.linspace(1.0, 0.5, 200), right) == 1.0
    right[150:160] = 0.0  # now 11 are wrong from place 160 on: only the surest 153 still hold 97 in 100
    assert nameable(np.linspace(1.0, 0.5, 200), right) == 153 / 200
    assert nameable(np.linspace(1.0, 0.5, 10), np.zeros(10)) == 0.0


def test_the_levels_it_is_told_are_those_of_the_clips() -> None:
    spec = drawn(WorldRound("mouth", 3, 3))
    ideal = {p: 10 * np.log10(1 + sum(net for net, _ in air)) for p, (air, _) in ideal_levels(spec, 2.0).items()}
    held = 0
    for point in measure_clips(clips_of(spec)):
        contrast = point.contrast(Kind.AIR)
        if contrast is None or ideal[point.point] < 3.0:
            continue
        found = 10 * np.log10(np.exp(contrast.rho).mean())
        assert abs(found - ideal[point.point]) < 1.0, point.point
        held += 1
    assert held


def test_a_round_without_a_point_leaves_a_gap_and_every_round_has_as_many_features() -> None:
    rng = np.random.default_rng(1)
    rows = [features(drawn(WorldRound("flow", 1, i)), rng) for i in range(12)]
    assert len({len(r) for r in rows}) == 1 and len(rows[0]) == 5 * len(SLOTS) + 6 + 15 + len(SLOTS)
    assert any(np.isnan(r[:30]).any() for r in rows)
