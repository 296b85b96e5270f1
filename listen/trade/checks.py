"""The cheapest next check for two causes that are hard to tell apart."""

from __future__ import annotations

from functools import cache

import msgspec

from listen.trade.tables import rows


class Check(msgspec.Struct, frozen=True):
    """One row of ``checks.toml``."""

    id: str
    pair: tuple[str, str]
    do: str
    means: str
    tools: str
    minutes: int
    risk: str
    done_by: tuple[str, ...]
    """Kinds of evidence that make it superfluous."""
    also: tuple[tuple[str, str], ...] = ()
    """Further pairs it separates."""

    def separates(self, a: str, b: str) -> bool:
        """True where it tells ``a`` from ``b``."""
        return any({a, b} == set(pair) for pair in (self.pair, *self.also))


class Alone(msgspec.Struct, frozen=True):
    """What confirms or refutes a cause that stands without a rival."""

    cause: str
    check: str


@cache
def checks() -> tuple[Check, ...]:
    """All checks, in the order of the table."""
    return rows("checks", "check", Check)


@cache
def _alone() -> dict[str, Check]:
    by_id = {check.id: check for check in checks()}
    return {row.cause: by_id[row.check] for row in rows("checks", "alone", Alone)}


def checks_between(a: str, b: str, have: frozenset[str] = frozenset()) -> tuple[Check, ...]:
    """Checks that separate two causes and are not yet done, cheapest first."""
    fit = [c for c in checks() if c.separates(a, b) and not have.intersection(c.done_by)]
    return tuple(sorted(fit, key=lambda c: c.minutes))


def check_alone(cause: str) -> Check:
    """The check that confirms or refutes one cause."""
    return _alone()[cause]
