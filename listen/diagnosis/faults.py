"""Finds the leading cause, what it competes with, and which further faults stand by odds of their own."""

from collections.abc import Sequence

import msgspec

from listen.diagnosis.case import Finding
from listen.diagnosis.weigh import Line, Standing, odds_shares, reweighed, standing
from listen.trade.causes import causes
from listen.trade.checks import evidence_rows
from listen.trade.numbers import threshold

LOOKS = ("plugs", "smoke", "symptoms", "alone")
"""Families that can point to a whole-engine cause beside a cylinder's own fault."""
NEAR = 10 ** (-threshold("rivals_db") / 10)
"""Share of the leading cause's probability from which another is its rival."""
NOTHING = "nothing-found"
CLEARED_DB = 3.0
"""A cause this far below its prior has been spoken against by the tests, not merely left out."""


class Lead(msgspec.Struct, frozen=True):
    """A leading cause with everything it competes with at its place."""

    top: Standing
    cylinders: tuple[int, ...]
    field: tuple[Standing, ...]
    """All causes at its place, the leading one included."""
    shares: tuple[float, ...]
    """Their probabilities, in the same order."""

    @property
    def share(self) -> float:
        return self.shares[self.field.index(self.top)]


def spoken(s: Standing) -> bool:
    """True where signs of its own speak for a cause: rows that only clear others are none."""
    return sum(line.db for line in s.lines if line.db > 0 and not line.clears) >= threshold("spoken_db")


def folded_shares(field: Sequence[Standing]) -> tuple[float, ...]:
    """Probability of each cause, where what nothing speaks for counts as "nothing found in what was tested".

    Tests that came out good leave causes they cannot see as likely as they ever were. Nothing found is then all that
    can be said: those causes are named as not asked, not as found.
    """
    shares = list(odds_shares(field))
    nothing = next((i for i, s in enumerate(field) if s.cause == NOTHING), None)
    if nothing is None or not _cleared(field, field[nothing]):
        return tuple(shares)
    for i, s in enumerate(field):
        untouched = s.score_db >= causes()[s.cause].prior_db - CLEARED_DB
        if i != nothing and untouched and not spoken(s):
            shares[nothing] += shares[i]
            shares[i] = 0.0
    return tuple(shares)


def _cleared(field: Sequence[Standing], nothing: Standing) -> bool:
    """True where tests came out good: on the whole engine, or on a part of it while no sign speaks for anything."""
    if any(line.clears and line.db > 0 for line in nothing.lines):
        return True
    return not any(spoken(s) for s in field) and any(line.clears for s in field for line in s.lines)


def leads(ranked: Sequence[Standing], findings: Sequence[Finding]) -> tuple[Lead, ...]:
    """The leading cause, then further faults that are likely enough by their own odds against there being none; no
    cause where no sign speaks for any, however softly, and no test came out good.

    Where a sign forbids starting there is no "nothing found" in the field; then only what a sign speaks for may lead.
    """
    field = at_place(None, ranked)
    if not any(line.db > 0 or line.clears for s in field for line in s.lines):
        return ()
    shares = folded_shares(field)
    could = [i for i, s in enumerate(field) if spoken(s) or s.cause == NOTHING]
    if any(s.cause == NOTHING for s in field) or not could:
        # "Nothing found" is there, or nothing speaks at all: then whatever is likeliest leads.
        could = list(range(len(field)))
    # Folded shares tie at 0; the score then decides.
    top = field[max(could, key=lambda i: (shares[i], field[i].score_db))]
    cylinders = _cylinders(top, ranked)
    field = at_place(top.cylinder if cylinders else None, ranked)
    found = [Lead(top, cylinders, field, folded_shares(field))]
    if top.cause == NOTHING:
        return tuple(found)
    for place in dict.fromkeys(s.cylinder for s in ranked if s.cylinder is not None):
        taken = {n for lead in found for n in lead.cylinders}
        if place not in taken and (further := _beside_here(place, ranked, findings, found[0])) is not None:
            found.append(further)
    if (wide := _beside_wide(ranked, findings, found)) is not None:
        found.append(wide)
    return tuple(found)


def at_place(cylinder: int | None, ranked: Sequence[Standing]) -> tuple[Standing, ...]:
    """Causes competing at one cylinder (its own and the engine's), or for the whole engine (best place of each)."""
    if cylinder is not None:
        return tuple(s for s in ranked if s.cylinder in (None, cylinder))
    best: dict[str, Standing] = {}
    for s in ranked:
        best.setdefault(s.cause, s)
    return tuple(best.values())


def _cylinders(top: Standing, ranked: Sequence[Standing]) -> tuple[int, ...]:
    """Cylinders a cause stands on: those with findings of their own that lead there; empty for the whole engine."""
    cause = causes()[top.cause]
    if cause.scope == "engine":
        return _sits_on(top) if cause.local else ()
    if top.cylinder is None or not _own_speaks(top):
        return ()
    # The same cause on other cylinders is one fault, where it leads there too by findings of their own.
    same = {top.cylinder}
    if top.partner is not None:
        same.add(top.partner)
    for s in ranked:
        alike = s.cause == top.cause and s.cylinder is not None and _own_speaks(s)
        strong = sum(line.db for line in s.lines if line.own) >= threshold("strong_db")
        if alike and strong and at_place(s.cylinder, ranked)[0].cause == top.cause:
            same.update(n for n in (s.cylinder, s.partner) if n is not None)
    return tuple(sorted(same))


def _own_speaks(s: Standing) -> bool:
    """True where what was found on the cylinder speaks louder for it than what was found on the engine."""
    own = [line.db for line in s.lines if line.own and line.db > 0]
    wide = [line.db for line in s.lines if not line.own and line.db > 0]
    return bool(own) and (s.cause != "test-fault" or max(own) >= max(wide, default=0.0))


def _sits_on(s: Standing) -> tuple[int, ...]:
    """The one cylinder that all signs found on cylinders name; empty where they name several or none."""
    named = {line.cylinders for line in s.lines if line.own and line.db > 0 and not line.clears}
    only = next(iter(named)) if len(named) == 1 else ()
    return only if len(only) == 1 else ()


def _beside_here(n: int, ranked: Sequence[Standing], findings: Sequence[Finding], first: Lead) -> Lead | None:
    """A fault of another cylinder, by that cylinder's own findings, against there being none."""
    # A fault of the whole engine explains its signs everywhere, one of a cylinder only there.
    explained = {line.evidence for line in first.top.lines if line.db > 0} if not first.cylinders else set()

    def left(s: Standing) -> list[Line]:
        return [line for line in s.lines if line.own and line.evidence not in explained]

    rivals = [reweighed(s, left(s)) for s in ranked if s.cylinder == n]
    # "Nothing found", weighed at this one cylinder: what a fault of its own has to be likelier than.
    sound = msgspec.structs.replace(causes()[NOTHING], scope="cylinder")
    here = standing(sound, n, findings)
    return _stands_beside([*rivals, reweighed(here, left(here), threshold("alone_db"))], (n,))


def _beside_wide(ranked: Sequence[Standing], findings: Sequence[Finding], found: Sequence[Lead]) -> Lead | None:
    """A whole-engine cause that plugs, smoke and symptoms point to and no fault named so far explains."""
    if any(not lead.cylinders or causes()[lead.top.cause].scope == "engine" for lead in found):
        return None
    taken = {n for lead in found for n in lead.cylinders}
    named = (s for lead in found for s in (lead.top, *_rivals(lead)))
    explained = {line.evidence for s in named for line in s.lines if line.db > 0}

    def left(s: Standing) -> list[Line]:
        signs = (x for x in s.lines if evidence_rows()[x.evidence].family in LOOKS and not x.clears)
        fresh = (x for x in signs if x.evidence not in explained)
        return [x for x in fresh if not x.cylinders or not taken.issuperset(x.cylinders)]

    rivals = [reweighed(s, left(s)) for s in ranked if s.cylinder is None and s.cause != NOTHING]
    signs = {line.evidence for s in rivals for line in s.lines if line.db > 0}
    none = standing(causes()[NOTHING], None, findings)
    lines = [line for line in left(none) if line.evidence in signs]
    return _stands_beside([*rivals, reweighed(none, lines, threshold("alone_db"))], ())


def _rivals(lead: Lead) -> list[Standing]:
    """Causes at the same place that it cannot be told from: what they explain needs no further fault."""
    near = zip(lead.field, lead.shares, strict=True)
    return [s for s, p in near if p >= NEAR * lead.share and spoken(s) and s.cause != NOTHING]


def _stands_beside(field: Sequence[Standing], cylinders: tuple[int, ...]) -> Lead | None:
    """The likeliest of a field as a further fault, if it is likely enough."""
    # Equal scores by name, so that every machine says the same.
    ordered = tuple(sorted(field, key=lambda s: (-s.score_db, s.cause)))
    shares = odds_shares(ordered)
    top = ordered[0] if ordered[0].cause != NOTHING else ordered[1] if len(ordered) > 1 else None
    if top is None or not spoken(top) or shares[ordered.index(top)] < threshold("beside_share"):
        return None
    on = cylinders or (_sits_on(top) if causes()[top.cause].local else ())
    if top.partner is not None and cylinders:
        on = tuple(sorted({*on, top.partner}))
    return Lead(top, on, ordered, shares)
