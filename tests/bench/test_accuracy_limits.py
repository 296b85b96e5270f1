"""Protects detection and cover: the limit, the truths they are held against, and that seeds alone decide."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.special import ndtr

from listen.bench.accuracy.cover import cover, true_excess_db
from listen.bench.accuracy.detection import crossing, detection, limit_db
from listen.bench.accuracy.pool import (
    RATE_HZ,
    SHAPES,
    drawn_round,
    drift_gain,
    expected_bands,
    make_pool,
    noise,
    reduce,
    scaled,
)
from listen.bench.accuracy.sections import words
from listen.bench.accuracy.workers import pieces
from listen.cli.main import main
from listen.rate import exact_rate
from tests.bench import switched
from tests.bench.switched import LIMIT_DB, WayDepth, depth_line, measured
from tests.bench.switched_takes import SCENES, taken, tool


def test_the_limit_is_that_of_the_radiometer_equation() -> None:
    assert limit_db(12_000, 5.0) == pytest.approx(-16.0, abs=0.05)
    assert limit_db(12_000, 20.0) == pytest.approx(limit_db(12_000, 5.0) - 3.01, abs=0.01)


def test_crossing_lies_between_the_levels_and_is_none_outside_them() -> None:
    levels = (-2.0, -1.0, 0.0)
    assert crossing(levels, np.array([0.5, 0.8, 1.0]), 0.9) == pytest.approx(-0.5)
    assert crossing(levels, np.array([0.1, 0.2, 0.3]), 0.9) is None
    assert crossing(levels, np.array([0.95, 1.0, 1.0]), 0.9) is None


def test_a_switched_takes_depth_is_read_between_two_levels_as_shares_bend() -> None:
    """An ideal detector's shares in steps of a decibel, 3.09 deviations to pass: read to a twentieth of one, wherever
    the steps lie; a straight line between two shares reads up to a fifth too high."""
    for deviation in 10 ** (np.linspace(-1.95, -1.85, 5)):
        levels = tuple(map(float, range(-22, -8)))
        shares = ndtr(10 ** (np.array(levels) / 10) / deviation - 3.09)
        true = 10 * np.log10((3.09 + 1.645) * deviation)
        assert switched.reached(levels, shares, 10**6) == pytest.approx(true, abs=0.05)
    assert switched.reached((-1.0, 0.0), np.array([0.1, 0.9]), 100) is None
    assert switched.reached((-1.0, 0.0), np.array([0.95, 1.0]), 100) is None


@pytest.mark.parametrize("name", sorted(SHAPES))
def test_expected_band_powers_are_what_long_noise_shows(name: str) -> None:
    long = noise(np.random.default_rng(4), SHAPES[name], 20 * RATE_HZ)
    assert reduce(long)[0].mean / expected_bands(SHAPES[name]) == pytest.approx(np.ones(13), abs=0.04)


def test_scaling_band_numbers_is_the_same_as_playing_louder() -> None:
    x = noise(np.random.default_rng(4), SHAPES["pink"], 2 * RATE_HZ)
    louder, plain = reduce(x * np.float32(np.sqrt(2.0)))[0], scaled(reduce(x)[0], 2.0)
    assert louder.mean == pytest.approx(plain.mean, rel=1e-4)
    assert louder.floor == pytest.approx(plain.floor, rel=1e-4)
    assert louder.cov == pytest.approx(plain.cov, rel=1e-3, abs=1e-9)


@pytest.mark.parametrize("smooth_share", [0.0, 0.2])
def test_drift_has_the_spread_asked_for_and_is_common_where_asked(smooth_share: float) -> None:
    rng = np.random.default_rng(2)
    db = np.array([10 * np.log10(drift_gain(rng, 0.3, smooth_share)) for _ in range(3000)])
    assert db.std(axis=0) == pytest.approx(np.full(13, 0.3), rel=0.06)
    apart = np.ptp(db, axis=1).max()
    assert apart < 1e-9 if smooth_share == 0.0 else apart > 0.1


def test_the_true_excess_of_a_hiss_of_the_backgrounds_shape_is_its_level() -> None:
    pool = make_pool("pink", 6, 1, 1)
    for h in drawn_round(np.random.default_rng(1), pool, 0.0, 0.0, lambda _: 1.0):
        assert true_excess_db(h) == pytest.approx(10 * np.log10(2.0))
        assert h.excess.excess_db == pytest.approx(true_excess_db(h), abs=0.3)


def test_pieces_add_up_whatever_their_number() -> None:
    assert pieces(10, 4) == [3, 3, 2, 2]
    assert pieces(2, 8) == [1, 1]


def test_detection_and_cover_follow_the_seed_alone(capsys: pytest.CaptureFixture[str]) -> None:
    found = detection(1, 3, 1)
    assert found == detection(1, 3, 1)
    assert {d["background"] for d in found["depths"]} == set(SHAPES)
    assert all(0.0 <= share <= 1.0 for d in found["depths"] for _, share in d["by_level"])
    args = ["bench", "accuracy", "--only", "coverage", "--rounds-drawn", "1", "--workers", "1"]
    assert main(args) == 0
    out = capsys.readouterr().out
    for group in ("all steady", "all drifting", "all unsteady"):
        assert group in out


def test_cover_takes_the_recordings_of_a_folder(tmp_path: Path) -> None:
    from listen.audio.write import write_clip
    from listen.lab.simulator.shops import population_of
    from listen.signal.clip import Clip

    names = [tmp_path / f"background-{word}.flac" for word in ("hall", "yard", "tram", "mill", "barn")]
    mine = next(n for n in names if population_of(n) == "report")
    write_clip(mine, Clip.of(0.1 * np.random.default_rng(1).standard_normal(8 * RATE_HZ), RATE_HZ))
    rows = cover(1, tmp_path, 1, 1)
    assert rows[-1]["shop"].startswith("recordings of")
    assert rows[-1]["both"].of == 4


NOTHING = {"worlds": (), "contests": (), "detection": None, "cover": ()}


def test_a_missed_bar_is_called_missed() -> None:
    d = {"background": "pink", "limit_db": -16.2, "reached_db": -14.0, "false_alarm": exact_rate(90, 10_000)}
    found = {"stated_false_alarm": 1e-3, "clips": 9, "depths": [d], "drifting": {"x": exact_rate(10, 10_000)}}
    table = words({**NOTHING, "detection": found})
    assert table.count("MISSED") == 2
    assert table.count("  met") == 1
    assert "loss  2.20 dB  MISSED" in table


def test_cover_outside_its_bar_is_called_missed() -> None:
    def row(hits: int, group: str) -> dict[str, object]:
        one, both = exact_rate(hits, 100), exact_rate(2 * hits, 200)
        return {"shop": group, "group": group, "silent": one, "hissing": one, "both": both, "half_width_db": 1.0}

    table = words({**NOTHING, "cover": [row(95, "steady"), row(90, "unsteady"), row(99, "drifting")]})
    assert [line.split()[-1] for line in table.splitlines() if line.startswith("  all")] == ["met", "MISSED", "MISSED"]


def test_a_switched_take_of_the_bench_holds_its_hiss_and_nothing_else() -> None:
    """The hiss drawn is the excess measured; of four channels only the first hears it; tools need no hiss to sound."""
    rng = np.random.default_rng(5)
    four = taken(rng, 0.5, drift_db=0.5, channels=4)
    first, second = measured(four), measured(four[1:])
    assert first is not None and second is not None
    assert first[1].excess_db == pytest.approx(
        10 * np.log10(1.0 + 0.5 / four[0].background(first[2], ()).mean()), abs=0.15
    )
    assert not second[1].detected
    assert set(SCENES) == {
        "drift alone", "compressor starts or stops", "speech", "ratchets", "a neighbour's tool"
    }  # fmt: skip
    assert taken(rng, 0.0, scene=tool)[0].shop.mean() > 1.0


def test_a_neighbours_tool_is_hardly_ever_taken_for_switched_air() -> None:
    """Comes and goes by the second, as loud as the shop: of 60 takes none (before: one in thirty)."""
    rng = np.random.default_rng(8)
    found = [measured(taken(rng, 0.0, drift_db=0.5, scene=tool)) for _ in range(60)]
    assert not any(f is not None and f[1].detected for f in found)


def test_a_depth_short_of_its_bar_is_said_to_be_missed() -> None:
    """The bar is 1.5 dB off the limit without drift; with drift none is said."""
    missed, met = (depth_line(WayDepth(way="switched", drift_db=0.0, reached_db=LIMIT_DB + x)) for x in (1.8, 1.4))
    assert "loss 1.8 dB  MISSED" in missed and "loss 1.4 dB  met" in met
    assert "MISSED" not in depth_line(WayDepth(way="switched", drift_db=0.5, reached_db=LIMIT_DB + 9.0))
    assert abs(LIMIT_DB + 18.76) < 0.01


def test_cover_is_counted_against_the_shop_of_the_air_off_halves() -> None:
    """A tool that blows only while the air is on is no part of what the hiss stands over."""
    (take,) = taken(np.random.default_rng(1), 1.0, scene=lambda rng, t_s: 4.0 * (np.mod(t_s, 5.0) > 2.9)[:, None])
    assert take.background(take.real, ()) == pytest.approx(np.ones(13), rel=0.2)
    rate, width_db = switched.cover("drift alone", 10, 1, 1)
    assert rate.of == 30 and rate.hits >= 25 and 0.0 < width_db < 1.0
