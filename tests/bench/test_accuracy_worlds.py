"""Protects the worlds: one round a seed, each structural difference, kept measurements, fits that leave one out."""

from __future__ import annotations

from collections import Counter
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from listen.bench.accuracy import measured as measured_module
from listen.bench.accuracy.contest import scored
from listen.bench.accuracy.measured import WorldRound, drawn, hissway, measured
from listen.bench.accuracy.scores import ROUND_BARS, Forecast
from listen.bench.accuracy.sections import words
from listen.cli.main import main
from listen.lab.simulator.render import TakeKey, render
from listen.lab.simulator.scene import RoundSpec
from listen.lab.simulator.worlds import WORLDS
from listen.lab.simulator.worlds.carrying import heard_db
from listen.lab.simulator.worlds.readings import flow_l_s, loss_percent
from listen.lab.simulator.worlds.world import World
from listen.signal.clip import Clip
from listen.trade.points import Kind
from tests.bench.leave_one_out import leave_one_out


@cache
def one(world: str, number: int) -> RoundSpec:
    return drawn(WorldRound(world, 3, number))


def some(world: str, count: int = 60) -> list[RoundSpec]:
    return [one(world, number) for number in range(count)]


def test_there_are_at_least_six_worlds_and_each_says_how_it_differs() -> None:
    assert len(WORLDS) >= 6
    assert len({w.differs for w in WORLDS.values()}) == len(WORLDS)


@pytest.mark.parametrize("world", sorted(WORLDS))
def test_a_seed_gives_one_round_of_every_world(world: str) -> None:
    assert drawn(WorldRound(world, 1, 2)) == drawn(WorldRound(world, 1, 2)) != drawn(WorldRound(world, 1, 3))


def test_loss_follows_two_restrictors_in_series() -> None:
    """The same 1 mm hole reads 23 % behind 1.0 mm and 5 % behind 1.5 mm; 9 % behind 1.0 mm is 67 % behind 0.5 mm."""
    assert loss_percent(550, 1.0, 1.0) == pytest.approx(23, abs=2)
    assert loss_percent(550, 1.5, 1.0) == pytest.approx(5, abs=1)
    assert loss_percent(550, 1.0, 0.75) == pytest.approx(9, abs=1)
    assert loss_percent(550, 0.5, 0.75) == pytest.approx(67, abs=4)
    assert flow_l_s(550, 1.0, 0.7) == pytest.approx(0.43, abs=0.12)


def test_a_fitting_stands_8_to_15_db_higher_at_a_mouth_near_the_plug_than_at_a_tailpipe() -> None:
    for absorption_m2 in (40.0, 100.0, 200.0):
        assert 8 <= heard_db(0.25, absorption_m2) - heard_db(3.5, absorption_m2) <= 19
    fittings = [s for s in some("bay", 200) if "fitting" in s.truth.paths]
    steps = []
    for s in fittings:
        at = {p.point: next(h.level_db for h in p.air if h.source == "fitting") for p in s.points}
        steps.append(at["oil-filler"] - at["tailpipe"])
    assert len(fittings) > 25
    assert 8 <= float(np.median(steps)) <= 15


def test_worlds_differ_in_what_levels_are_relative_to() -> None:
    about = {name: {h.about for s in some(name, 5) for p in s.points for h in p.air} for name in WORLDS}
    assert about["shop"] == about["pipes"] == about["restless"] == {"background"}
    assert about["flow"] == about["mouth"] == about["bay"] == about["pocket"] == {"full-scale"}


def test_normal_blow_by_spans_20_db_and_more_where_it_should() -> None:
    for name in ("mouth", "worn"):
        levels = [s.truth.blow_by_db for s in some(name, 150)]
        assert np.quantile(levels, 0.95) - np.quantile(levels, 0.05) >= 20, name


def test_in_flow_ten_times_the_air_is_10_db_louder_and_in_mouth_no_louder() -> None:
    def step(world: World) -> float:
        rng = np.random.default_rng(4)
        steps = []
        for _ in range(400):
            usual_db = world.usual_db(rng)
            loud, faint = (world.strength(rng, usual_db, "intake-valve", 1.0, flow) for flow in (1.0, 0.1))
            steps.append(loud - faint)
        return float(np.mean(steps))

    assert step(WORLDS["flow"]) == pytest.approx(10.0, abs=1.0)
    assert step(WORLDS["mouth"]) == pytest.approx(0.0, abs=2.0)


def test_drift_is_one_for_all_points_and_large_in_the_restless_world() -> None:
    def steps(world: str) -> tuple[float, float]:
        """Spread of each clip's drift about its round, and what is left of it once the walk's share is taken off."""
        whole, own = [], []
        for s in some(world, 40):
            by_kind = np.array([[t.drift_db for t in p.takes if t.kind == Kind.AIR][:1] for p in s.points]).ravel()
            whole.append(np.mean(by_kind**2))
            own.append(np.var(by_kind))
        return float(np.sqrt(np.mean(whole))), float(np.sqrt(np.mean(own)))

    restless, steady = steps("restless"), steps("flow")
    assert restless[0] > 2 * steady[0]
    assert restless[1] < restless[0]


def test_mishaps_whistles_combs_and_microphones_are_where_they_belong() -> None:
    mishaps = {name: sum("," in s.background.name for s in some(name)) for name in WORLDS}
    assert mishaps["restless"] > 25 > mishaps["flow"]
    pipes = [h for s in some("pipes") for p in s.points for h in p.air]
    assert sum(h.comb_hz > 0 for h in pipes) == len(pipes)
    assert 0.1 < np.mean([h.whistle_hz > 0 for h in pipes]) < 0.6
    kinds = Counter((s.microphone.agc > 0, s.microphone.fixed_gain) for s in some("pocket"))
    assert kinds[True, False] > 5 and kinds[False, True] > 5


def test_what_was_measured_is_kept_and_the_next_judge_only_judges(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = WorldRound("flow", 1, 0, tmp_path)
    first = hissway(measured(job))
    assert len(list(tmp_path.rglob("output.pkl"))) == 1

    def never(spec: RoundSpec) -> None:
        raise AssertionError("rendered again")

    monkeypatch.setattr(measured_module, "clips_of", never)
    assert hissway(measured(job)) == first


def test_a_constant_is_fitted_on_the_other_worlds_only() -> None:
    """The world reported wants 9; the others want 1 and get their way."""
    rounds = {"a": [1.0, 1.0], "b": [1.0], "c": [9.0] * 50}
    found = leave_one_out(rounds, (1.0, 5.0, 9.0), lambda c, wanted: abs(c - wanted))
    assert found["c"] == (1.0, 8.0)
    assert found["a"][0] != 1.0 or found["a"][1] == 0.0


def test_the_table_shows_every_bar_and_what_was_wrongly_named() -> None:
    sound = Forecast(frozenset({"none"}), {"rings": 1.0}, {"rings": 0.97}, ("rings",), "shop", 0.97, True)
    found = scored("flow", "Everything follows from holes.", [sound] * 4)
    assert set(found["missed"]) >= {"right of named", "right at 95 %+", "false calls", "Brier", "log loss"}
    table = words({"worlds": [found], "contests": (), "detection": None, "cover": ()})
    assert all(b.name in table and b.limit in table for b in ROUND_BARS)
    assert "wrongly named: rings x4" in table


def test_the_bench_renders_and_reports_a_round_of_every_world(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    rendered = []

    def looked_at(spec: RoundSpec) -> dict[TakeKey, Clip]:
        clips = render(spec)
        assert set(clips) == {(p.point, t.kind, t.order) for p in spec.points for t in p.takes}
        assert all(np.abs(c.samples).max() <= 1.0 and np.isfinite(c.samples).all() for c in clips.values())
        rendered.append(spec.name)
        return clips

    monkeypatch.setattr(measured_module, "render", looked_at)
    args = ["bench", "accuracy", "--only", "worlds", "--rounds-drawn", "1", "--workers", "1", "--cache", str(tmp_path)]
    assert main(args) == 0
    out = capsys.readouterr().out
    assert all(f"\n{name} " in out and f"\n{name}: " in out for name in WORLDS)
    assert [name.rpartition("-")[0] for name in rendered] == list(WORLDS)
