"""Protects the bounds of a count, which every score and bar rests on."""

from __future__ import annotations

import pytest

from listen.rate import counted, exact_rate


def test_bounds_have_their_closed_forms_at_the_ends() -> None:
    """All of 59 leaves 93.9 %; none of nothing leaves everything."""
    assert exact_rate(59, 59).low95 == pytest.approx(0.025 ** (1 / 59), abs=1e-9)
    assert exact_rate(59, 59).high95 == 1.0
    assert exact_rate(0, 10).low95 == 0.0
    assert exact_rate(0, 10).high95 == pytest.approx(1 - 0.025**0.1, abs=1e-9)
    nothing = exact_rate(0, 0)
    assert (nothing.value, nothing.low95, nothing.high95) == (None, 0.0, 1.0)


@pytest.mark.parametrize(("hits", "of"), [(1, 3), (5, 10), (90, 10_000), (7_000, 7_100)])
def test_bounds_between_are_those_of_the_exact_test(hits: int, of: int) -> None:
    from scipy.stats import binomtest

    bounds = binomtest(hits, of).proportion_ci(0.95, method="exact")
    assert (exact_rate(hits, of).low95, exact_rate(hits, of).high95) == pytest.approx((bounds.low, bounds.high))


def test_items_are_counted_once_each() -> None:
    found = counted((n for n in range(10)), lambda n: n % 5 == 0)
    assert (found.hits, found.of, found.value) == (2, 10, 0.2)
