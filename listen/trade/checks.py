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

    only_with: tuple[str, ...] = ()
    """Findings of which one must stand; empty: none needed."""

    def separates(self, a: str, b: str) -> bool:
        """True where it tells ``a`` from ``b``."""
        return any({a, b} == set(pair) for pair in (self.pair, *self.also))


class Alone(msgspec.Struct, frozen=True):
    """What confirms or refutes a cause that stands without a rival."""

    cause: str
    check: str
    whole: str = ""
    """The same where no one cylinder is meant."""


@cache
def checks() -> tuple[Check, ...]:
    """All checks, in the order of the table."""
    return rows("checks", "check", Check)


def checks_between(
    a: str, b: str, have: frozenset[str] = frozenset(), found: frozenset[str] | None = None
) -> tuple[Check, ...]:
    """Checks that separate two causes and are not yet done: those made for the findings at hand, then cheapest first.

    Parameters
    ----------
    a, b
        Causes.
    have
        Kinds of evidence at hand.
    found
        Findings at hand; None offers checks whatever they need.
    """
    fit = [c for c in checks() if c.separates(a, b) and not have.intersection(c.done_by)]
    if found is not None:
        fit = [c for c in fit if not c.only_with or found.intersection(c.only_with)]
    return tuple(sorted(fit, key=lambda c: (not c.only_with, c.minutes)))


def check_alone(cause: str, *, whole: bool = False, found: frozenset[str] = frozenset()) -> Check:
    """The check that confirms or refutes one cause, on its cylinder or on the test as a whole.

    One made for the findings at hand comes before the general one.
    """
    for check in checks():
        if found.intersection(check.only_with) and cause in check.pair:
            return check
    row = next(row for row in rows("checks", "alone", Alone) if row.cause == cause)
    wanted = row.whole if whole and row.whole else row.check
    return next(c for c in checks() if c.id == wanted)
