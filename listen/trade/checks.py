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
    not_with: tuple[str, ...] = ()
    """Findings beside which it would do harm or tell nothing."""

    def separates(self, a: str, b: str) -> bool:
        """True where it tells ``a`` from ``b``."""
        return any({a, b} == set(pair) for pair in (self.pair, *self.also))

    def fits(self, have: frozenset[str], found: frozenset[str]) -> bool:
        """True where it is not yet made, and the findings ask for it or do not forbid it."""
        asked = not self.only_with or bool(found.intersection(self.only_with))
        return asked and not have.intersection(self.done_by) and not found.intersection(self.not_with)


class Alone(msgspec.Struct, frozen=True):
    """What confirms or refutes a cause that stands without a rival."""

    cause: str
    check: str
    whole: str = ""
    """The same where no one cylinder is meant."""
    instead: str = ""
    """Taken where the findings forbid the check."""


@cache
def checks() -> tuple[Check, ...]:
    """All checks, in the order of the table."""
    return rows("checks", "check", Check)


def checks_between(
    a: str, b: str, have: frozenset[str] = frozenset(), found: frozenset[str] | None = None
) -> tuple[Check, ...]:
    """Checks that separate two causes and are not yet done: those made for the findings at hand, then as in the table.

    Parameters
    ----------
    a, b
        Causes.
    have
        Kinds of evidence at hand.
    found
        Findings at hand; None offers checks whatever they need.
    """
    fit = [c for c in checks() if c.separates(a, b)]
    if found is None:
        fit = [c for c in fit if not have.intersection(c.done_by)]
    else:
        fit = [c for c in fit if c.fits(have, found)]
    return tuple(sorted(fit, key=lambda c: not c.only_with))


def check_alone(
    cause: str, *, whole: bool = False, have: frozenset[str] = frozenset(), found: frozenset[str] = frozenset()
) -> Check:
    """The check that confirms or refutes one cause, on its cylinder or on the test as a whole.

    One made for the findings at hand comes before the general one.
    """
    for check in checks():
        if check.only_with and cause in check.pair and check.fits(have, found):
            return check
    row = next(row for row in rows("checks", "alone", Alone) if row.cause == cause)
    wanted = check_named(row.whole if whole and row.whole else row.check)
    return check_named(row.instead) if row.instead and found.intersection(wanted.not_with) else wanted


def check_named(check_id: str) -> Check:
    """One row of the table."""
    return next(c for c in checks() if c.id == check_id)
