"""What a shop's teardowns move: base rates among leaks and losses, slowly, by weights written out."""

from __future__ import annotations

from dataclasses import replace

import pytest
from evidence_made import FOUR, made

from listen.judge.assumptions import BASE
from listen.judge.hypotheses import LEAKS, hypotheses, priors
from listen.judge.learnt import learnt, with_learnt
from listen.judge.posterior import posterior
from listen.judge.result import CauseSeen, ShopSeen
from listen.judge.shop import shop_hole, shop_rates
from listen.trade.points import PathId, path_table

RATES = {row.path: row.prior for row in path_table().cause}
LEAK_RATES = {p: RATES[p] for p in LEAKS}


def seen(findings: int = 30, **times: float) -> ShopSeen:
    causes = tuple(CauseSeen(path=p.replace("_", "-"), times=n) for p, n in times.items())
    return ShopSeen(findings=findings, causes=causes)


def test_thirty_findings_count_for_one_third():
    """All rings: their share of leaks goes a third of the way to one, the others' fall by a third."""
    after = shop_rates(LEAK_RATES, seen(rings=30))
    total = sum(LEAK_RATES.values())
    assert sum(after.values()) == pytest.approx(total)
    assert after[PathId.RINGS] / total == pytest.approx(2 / 3 * LEAK_RATES[PathId.RINGS] / total + 1 / 3)
    assert after[PathId.INTAKE_VALVE] == pytest.approx(2 / 3 * LEAK_RATES[PathId.INTAKE_VALVE])


def test_sound_fitting_and_set_up_keep_their_share_whatever_was_opened():
    """Opened engines were thought to leak: that none was sound says nothing of the sound ones."""
    heard = frozenset(PathId)
    sets = hypotheses(heard)
    before, after = (dict(zip(sets, priors(sets, heard, BASE, s), strict=True)) for s in (None, seen(none=30)))
    assert after == pytest.approx(before, rel=1e-12)
    moved = dict(zip(sets, priors(sets, heard, BASE, seen(rings=30)), strict=True))
    for path in (PathId.NONE, PathId.FITTING, PathId.SET_UP):
        was, now = (sum(p for h, p in d.items() if h.paths == (path,)) for d in (before, moved))
        assert now == pytest.approx(was, rel=0.05)  # pairs alone shift the sum a little


def test_losses_move_median_and_spread_by_the_weight_of_twenty():
    row = CauseSeen(path="rings", times=20, losses=20, mean_log_mm=0.5, squares=20 * 0.04)
    mean, spread = shop_hole(PathId.RINGS, (0.1, 0.4), ShopSeen(findings=30, causes=(row,)))
    assert mean == pytest.approx(0.3)
    assert spread**2 == pytest.approx((20 * 0.16 + 20 * 0.04 + 10 * 0.16) / 40)
    assert shop_hole(PathId.NONE, (0.1, 0.4), ShopSeen(findings=30, causes=(row,))) == (0.1, 0.4)
    assert shop_hole(PathId.RINGS, (0.1, 0.4), None) == (0.1, 0.4)


def test_a_shop_of_worn_rings_leans_to_rings_and_says_so():
    evidence = made(dict.fromkeys(FOUR, -4.0), loss_percent=30.0)
    alone = posterior(evidence)
    with_shop = replace(evidence, shop=seen(40, rings=36, exhaust_valve=3.5, intake_valve=0.5))
    after = posterior(with_shop)
    assert after.involved(PathId.RINGS) > alone.involved(PathId.RINGS) + 0.03
    (line,) = learnt(with_shop, with_learnt(with_shop, after, after), ())
    assert line.startswith(
        "Learnt from the shop's own 40 teardowns: rings 36, exhaust valve 3.5, intake valve 0.5; without"
    )
