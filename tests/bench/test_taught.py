"""Protects: the trees that are shipped say what the library's own model says; a maker left out taught none of them."""

from pathlib import Path

import numpy as np
import pytest

from listen.judge.taught import trees
from tests.bench import taught
from tests.bench.taught import Table, fit, left_out, pooled

NAMES = ("loud", "lost")


@pytest.fixture(autouse=True)
def few_trees(monkeypatch):
    monkeypatch.setitem(taught.TREES, "max_iter", 6)
    monkeypatch.setitem(taught.TREES, "min_samples_leaf", 5)
    monkeypatch.setitem(taught.TREES, "learning_rate", 0.3)


@pytest.fixture(scope="module")
def table() -> Table:
    """Three makers; "loud" tells the cause where it is there, "lost" is missing in a third, the judge knows nothing."""
    rng = np.random.default_rng(3)
    cause = rng.integers(0, 8, 240)
    loud = cause + rng.normal(0.0, 0.3, 240)
    lost = np.where(rng.random(240) < 0.3, np.nan, rng.normal(0.0, 1.0, 240))
    judge = np.full((240, 8), 1 / 8)
    judge[::5, 3] = np.nan
    return Table(np.repeat(["a", "b", "c"], 80), NAMES, np.column_stack([loud, lost]), judge, np.eye(8)[cause])


def test_the_trees_say_what_the_library_says(table):
    """Bounds, missing traits and trees that end early are carried over whole."""
    trees, model = fit(table)
    its = np.log(model.predict_proba(taught._told_apart(table.traits)))
    ours = [[*trees.odds(dict(zip(table.names, row, strict=True))).values()] for row in table.traits]
    np.testing.assert_allclose(ours, its, atol=1e-9)


def test_a_path_that_was_not_weighed_stays_without_odds(table):
    trees, _ = fit(table)
    p = pooled(trees, table)
    assert (p[::5, 3] == 0.0).all() and (p[1::5, 3] > 0.0).all()
    np.testing.assert_allclose(p.sum(axis=1), 1.0)


def test_a_maker_left_out_taught_nothing(table):
    """One who calls every cause by the next one's name: his rounds are judged wrongly, since the others taught."""
    odd = table.maker == "c"
    turned = Table(
        table.maker,
        table.names,
        table.traits,
        table.share,
        np.where(odd[:, None], np.roll(table.truth, 1, 1), table.truth),
    )
    straight, crooked = (_losses(left_out(t))["c"] for t in (table, turned))
    assert straight < np.log(8) < crooked


def _losses(lines) -> dict[str, float]:
    return {line.split()[0]: float(line.split("others ")[1].split(",")[0]) for line in lines}


def test_the_trees_that_are_shipped_were_taught_by_the_table_that_is_kept():
    """Traits renamed, or trees of another table: every maker's rounds are told better than by the model alone."""
    kept = Table.read(Path(__file__).with_name("known_rounds.npz"))
    assert len(kept.maker) == 4248 and trees().traits == trees("others").traits == kept.names
    for maker in np.unique(kept.maker):
        rounds = kept.only(kept.maker == maker)
        assert _loss(pooled(trees(), rounds), rounds) < _loss(pooled(None, rounds), rounds) - 0.05
        if maker not in taught.OWN:
            assert _loss(pooled(trees("others"), rounds), rounds) < _loss(pooled(None, rounds), rounds) - 0.05


def _loss(p, rounds: Table) -> float:
    return float(-np.log(np.maximum((p * rounds.truth).sum(axis=1), 1e-4)).mean())


def test_a_table_is_read_as_it_was_written(table, tmp_path):
    table.written(tmp_path / "table.npz")
    read = Table.read(tmp_path / "table.npz")
    assert read.names == table.names and (read.maker == table.maker).all() and (read.truth == table.truth).all()
    np.testing.assert_allclose(read.traits, table.traits, rtol=1e-6)
    np.testing.assert_allclose(read.share, table.share)
