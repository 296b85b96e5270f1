"""Protects the peers: they measure what their names say and are given their best settings."""

from __future__ import annotations

import numpy as np
import pytest

from listen.bench.accuracy.peers import PEERS, Case, features, fit, numbers, scripted
from listen.signal.clip import Clip
from listen.trade.points import Kind

RATE = 48_000


def noise(seed: int, level: float = 0.01) -> Clip:
    return Clip.of(np.random.default_rng(seed).normal(0, level, 2 * RATE), RATE)


def test_the_a_weighting_is_that_of_the_standard() -> None:
    # IEC 61672-1, table of weightings at exact frequencies, rounded to 0.1 dB.
    table = {31.62: -39.4, 100.0: -19.1, 1000.0: 0.0, 3981.07: 1.0, 10000.0: -2.5, 15848.9: -6.6}
    t = np.arange(2 * RATE) / RATE
    for hz, weight_db in table.items():
        found = features(Clip.of(0.5 * np.hanning(len(t)) * np.sin(2 * np.pi * hz * t), RATE))
        assert 10 * np.log10(found["a-weighted"] / found["rms"]) == pytest.approx(weight_db, abs=0.06), hz


def test_louder_air_raises_every_level_peer_by_as_much() -> None:
    found = numbers({"intake": [(Kind.QUIET, noise(1)), (Kind.AIR, noise(2, 0.02))]})
    for peer in PEERS:
        expected = 0.0 if peer == "librosa-flatness" else 20 * np.log10(2)
        assert found[peer]["intake-valve"] == pytest.approx(expected, abs=0.15), peer


def test_a_tone_lowers_flatness_and_leaves_the_a_weighted_level_in_proportion() -> None:
    t = np.arange(2 * RATE) / RATE
    tone = Clip.of(0.1 * np.sin(2 * np.pi * 1000 * t), RATE)
    assert features(tone)["librosa-flatness"] < 0.01 * features(noise(1))["librosa-flatness"]
    assert features(tone)["a-weighted"] == pytest.approx(0.005, rel=0.01)


def test_a_point_without_a_quiet_clip_is_left_out() -> None:
    assert numbers({"intake": [(Kind.AIR, noise(1))]})["rms"] == {}


def cases() -> list[Case]:
    rng = np.random.default_rng(5)
    out = []
    for i in range(60):
        truth = ("rings", "intake-valve", "none")[i % 3]
        x = {p: float(rng.normal(6.0 if p == truth else 0.5, 0.6)) for p in ("rings", "intake-valve")}
        out.append(Case(frozenset({truth}), {"rms": x}, "shop"))
    return out


def test_the_fit_finds_threshold_and_temperature_of_a_case_that_has_them() -> None:
    fitted = fit("rms", cases())
    assert 1.5 < fitted.threshold < 5.0
    held_out = Case(frozenset({"rings"}), {"rms": {"rings": 6.0, "intake-valve": 0.4}}, "shop")
    said = fitted.forecast(held_out)
    assert said.named == ("rings",)
    assert sum(said.share.values()) == pytest.approx(1.0)
    assert scripted({"rings": 0.3, "intake-valve": 0.6}, fitted.threshold) == "none"


def test_a_peer_in_two_minds_says_nothing_but_as_scripted_always_answers() -> None:
    case = Case(frozenset({"rings"}), {"rms": {"rings": 6.0, "intake-valve": 6.0}}, "shop")
    fitted = fit("rms", cases())
    assert fitted.forecast(case).named == ()
    assert len(fitted.forecast(case, always=True).named) == 1
