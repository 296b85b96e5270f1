"""Protects what a loss means: the same leak reads otherwise behind another restrictor."""

from __future__ import annotations

import pytest

from listen.errors import ReadingError
from listen.trade.restrictor import leak_mm, loss_behind


@pytest.mark.parametrize(
    ("loss", "behind", "other", "reads"),
    [(9, 1.0, 0.5, 67), (20, 1.0, 0.5, 86), (20, 1.0, 1.5, 5), (20, 1.0, 2.0, 2), (67, 0.5, 1.0, 9)],
)
def test_the_same_leak_behind_another_restrictor(loss, behind, other, reads):
    assert loss_behind(loss, behind, other) == pytest.approx(reads, abs=2)


def test_the_same_restrictor_and_what_holds_all_or_nothing_change_nothing():
    assert loss_behind(23.0, 1.0) == 23.0
    assert loss_behind(0.0, 0.5) == 0.0
    assert loss_behind(100.0, 0.5) == 100.0


def test_a_leak_grows_with_the_loss_and_goes_there_and_back():
    bores = [leak_mm(loss, 1.0) for loss in (1, 5, 20, 50, 80, 99)]
    assert bores == sorted(bores)
    assert leak_mm(33, 1.0) == pytest.approx(1.13, abs=0.01)
    for loss in (2.0, 20.0, 60.0):
        assert loss_behind(loss_behind(loss, 1.0, 0.7), 0.7, 1.0) == pytest.approx(loss, abs=0.1)


@pytest.mark.parametrize("wrong", [(20, 0.04, 552), (20, 1.0, 5000), (0, 1.0, 552)])
def test_what_no_tester_shows_is_refused(wrong):
    with pytest.raises(ReadingError):
        leak_mm(*wrong)
