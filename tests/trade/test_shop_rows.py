"""Protects a shop's own rows: they count, they are told, and a broken file changes nothing and says what is wrong."""

from __future__ import annotations

import pytest

from listen.trade import tables
from listen.trade.checks import evidence_rows
from listen.trade.tables import shop_rows, shop_trouble


@pytest.fixture
def shop(tmp_path, monkeypatch):
    path = tmp_path / "shop-rows.toml"
    monkeypatch.setenv("HISSWAY_ROWS", str(path))

    def write(text: str) -> None:
        path.write_text(text, "utf-8")
        tables._shop.cache_clear()
        tables._misfits.clear()
        evidence_rows.cache_clear()

    yield write
    monkeypatch.undo()
    tables._shop.cache_clear()
    tables._misfits.clear()
    evidence_rows.cache_clear()


def test_a_row_of_the_shop_replaces_what_it_gives_and_is_told(shop):
    shop('[[evidence]]\nid = "one-low"\nfor = { exhaust-valve = 9 }\n')
    row = evidence_rows()["one-low"]
    assert row.weight_db("exhaust-valve") == 9 and row.weight_db("rings-one") == 0
    assert row.weight_db("nothing-found") == -12, "what it does not give stays"
    assert row.sources == ("SHOP",)
    assert shop_rows() == ("evidence one-low",) and not shop_trouble()


@pytest.mark.parametrize(
    "text",
    [
        "[[evidence]\n",
        '[[caution]]\nid = "eyes"\n',
        "[[evidence]]\nfor = { }\n",
        "evidence = 3\n",
        "evidence = " + "[" * 3000,
        "#" * 1_000_001,
    ],
)
def test_a_broken_file_changes_nothing_and_says_so(shop, text):
    shop(text)
    assert evidence_rows()["one-low"].weight_db("exhaust-valve") == 7
    assert "shop-rows.toml" in shop_trouble() and shop_rows() == ()


def test_a_row_that_does_not_fit_leaves_ours(shop):
    shop('[[evidence]]\nid = "one-low"\nfor = "much"\n')
    assert evidence_rows()["one-low"].weight_db("exhaust-valve") == 7
    assert "one-low" in shop_trouble()
