"""Adds the weights of all findings up for each cause, within the caps of the evidence table.

Symbols: a cause starts with its prior odds in decibans; each row of the table adds its weight (10 lg of a likelihood
ratio, after I. J. Good's weight of evidence) times the share that counts; families of rows are capped; the sum is the
cause's score. Within a set of causes that exclude each other the odds are 10^(score/10), scaled to sum to 1.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence

import msgspec

from listen.diagnosis.case import EngineCase, Finding
from listen.trade.causes import Cause, causes
from listen.trade.checks import Evidence, Family, caps, evidence_rows
from listen.trade.engine import neighbours


class Line(msgspec.Struct, frozen=True):
    evidence: str
    words: str
    detail: str
    why: str
    db: float
    """Signed decibans, before any cap."""
    own: bool
    """True where it belongs to cylinders, not to the engine."""
    cylinders: tuple[int, ...] = ()
    clears: bool = False
    """True where it tells what is not the case."""
    sources: tuple[str, ...] = ()
    strength: str = ""


class Standing(msgspec.Struct, frozen=True):
    cause: str
    cylinder: int | None
    score_db: float
    """Prior odds plus capped weights, decibans."""
    lines: tuple[Line, ...]
    capped_db: float
    """What the caps took away (0 where nothing): weights plus this plus the prior make the score."""
    partner: int | None = None
    """The other cylinder, where the findings name a pair."""


def standings(case: EngineCase, findings: Sequence[Finding]) -> tuple[Standing, ...]:
    """Every cause on every cylinder it may belong to, highest first."""
    known = {c.cylinder for c in case.cylinders} | {n for f in findings for n in f.cylinders}
    # Where no cylinder is known yet, a fault of one is still weighed, at a cylinder nobody can name.
    cylinders: list[int | None] = [*sorted(known)] or [None]
    made = []
    told = {f.id for f in findings}
    for cause in causes().values():
        if cause.needs and cause.needs not in told:
            continue
        places = [n for n in cylinders if _can_have(case, cause, n)] if cause.scope == "cylinder" else [None]
        made += [standing(cause, n, findings) for n in places]
    return tuple(sorted(made, key=lambda s: (-s.score_db, s.cause, s.cylinder or 0)))


def _can_have(case: EngineCase, cause: Cause, cylinder: int | None) -> bool:
    """False for what the engine is not built to have: coolant on one cooled by air, a neighbour where there is none."""
    if cause.id == "gasket-coolant":
        return case.engine.cooling != "air"
    if cause.id == "gasket-next":
        return any(neighbours(case.engine, n) for n in (case.engine.cylinders if cylinder is None else (cylinder,)))
    return True


def standing(cause: Cause, cylinder: int | None, findings: Sequence[Finding]) -> Standing:
    """One cause's standing; each row counts once, with the largest share found."""
    best: dict[str, Finding] = {}
    on: dict[str, set[int]] = {}
    rows = evidence_rows()
    for f in findings:
        row = rows.get(f.id)
        # First what most rows are turned away by.
        if row is None or not row.weight_db(cause.id):
            continue
        of_all = not f.cylinders or (cause.scope == "engine" and not row.needs_all)
        if not of_all and not (cause.scope == "cylinder" and cylinder in f.cylinders):
            continue
        on.setdefault(f.id, set()).update(f.cylinders)
        # The largest share counts; the cylinder's own finding is preferred to the engine's.
        best[f.id] = max(best.get(f.id, f), f, key=lambda one: (one.share, bool(one.cylinders)))
    lines = tuple(_line(rows[f.id], f, cause.id, on[f.id]) for f in best.values())
    named = [f.partner for f in best.values() if f.partner is not None]
    partner = named[0] if cause.id == "gasket-next" and named else None
    return reweighed(Standing(cause.id, cylinder, 0.0, (), 0.0, partner), lines)


def reweighed(s: Standing, lines: Iterable[Line], prior_db: float | None = None) -> Standing:
    """A standing on these lines only, and with another prior if one is given."""
    lines = tuple(lines)
    kept_db = capped_sum(lines)
    capped_db = round(kept_db - sum(line.db for line in lines), 6)
    first_db = causes()[s.cause].prior_db if prior_db is None else prior_db
    return Standing(s.cause, s.cylinder, round(first_db + kept_db, 6), lines, capped_db, s.partner)


def _line(row: Evidence, f: Finding, cause: str, on: set[int]) -> Line:
    db = round(row.weight_db(cause) * f.share, 6)
    own = bool(f.cylinders)
    numbers = tuple(sorted(on)) if own else ()
    return Line(row.id, row.words, f.detail, row.why, db, own, numbers, row.clears, row.sources, row.strength)


def capped_sum(lines: Iterable[Line]) -> float:
    """Sum of weights after the caps of the families."""
    by, cap, rows = defaultdict[Family, float](float), caps(), evidence_rows()
    for line in lines:
        by[rows[line.evidence].family] += line.db
    smoke = clamp(by["smoke"], cap.smoke)
    looks = clamp(clamp(by["plugs"], cap.plugs) + smoke, cap.plugs_and_smoke)
    # Smoke is looked at and is a symptom: it counts once, within the caps of both.
    symptoms = clamp(smoke + clamp(by["symptoms"], cap.symptoms), cap.smoke_and_symptoms) - smoke
    tests = clamp(by["compression"], cap.compression) + clamp(by["leak"], cap.leak)
    return tests + looks + symptoms + by["alone"]


def clamp(db: float, most_db: float) -> float:
    """``db`` held between minus and plus ``most_db``."""
    return max(-most_db, min(most_db, db))


def odds_shares(rivals: Sequence[Standing]) -> tuple[float, ...]:
    """Probability of each standing if exactly one of them is the case."""
    # About the highest: only differences count, and a power of ten of the score itself may leave a double's range.
    top = max(s.score_db for s in rivals)
    weights = [10 ** ((s.score_db - top) / 10) for s in rivals]
    total = math.fsum(weights)
    return tuple(w / total for w in weights)
