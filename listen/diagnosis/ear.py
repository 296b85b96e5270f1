"""What was heard where: escape paths as the listening judge weighs them, the tech's own call, bubbles."""

from collections.abc import Iterator

from listen.diagnosis.case import LOSS, CylinderCase, EngineCase, Finding
from listen.trade.engine import neighbours
from listen.trade.numbers import threshold
from listen.trade.points import PathId, point_rows, usual_points
from listen.voice import figures, names

BY_EAR_SHARE = 0.5
"""Part of a row's weight that counts where only the tech's ear heard it (likely, not strong)."""
BEFORE_SHARE = 0.5
"""Part that counts of what was heard before the cylinder's readings changed."""
OF_THE_TEST = ("fitting", "set-up")
"""Paths that belong to one set-up, not to the engine."""
MIN_LISTENED = 3
"""Cylinders listened to before "on all alike" can be said; on a twin both."""
ROWS = {
    "exhaust-valve": "heard-tailpipe",
    "intake-valve": "heard-intake",
    "rings": "heard-filler-one",
    "fitting": "heard-fitting",
    "set-up": "heard-set-up",
}
"""Paths that are a row of evidence as soon as they are heard on one cylinder."""


def heard_share(c: CylinderCase, path: str) -> float:
    """Part of the evidence that counts for a path: 1 strong, 0.5 likely or by ear alone, 0 neither.

    What a person decided against the program counts as a person's word, in place of the microphone's. What was heard
    on an earlier state of the cylinder counts by half, and of the test itself (fitting, set-up) not at all: the later
    reading was taken on another set-up.
    """
    if c.decided:
        return threshold("person_share") if path in c.decided else 0.0
    if c.heard_before and path in OF_THE_TEST:
        return 0.0
    p = c.paths.get(path, 0.0)
    now = 1.0 if p >= threshold("path_strong") else 0.5 if p >= threshold("path_likely") else 0.0
    # Of one air only one witness counts: the ear where no microphone listened.
    if not c.paths:
        now = BY_EAR_SHARE if path in c.by_ear else 0.0
    return now * (BEFORE_SHARE if c.heard_before else 1.0)


def ear_findings(case: EngineCase) -> list[Finding]:
    """Findings of listening and looking for bubbles, cylinder by cylinder."""
    on_all = filler_on_all(case)
    found = [Finding("heard-filler-all", (), "at the filler on most cylinders")] if on_all else []
    for c in case.cylinders:
        heard = ((path, row, heard_share(c, path)) for path, row in ROWS.items() if path != "rings" or not on_all)
        found += [_row(row, c, path, share) for path, row, share in heard if share]
        found += [*_coolant(c), *_next(case, c), *_nothing(c), *_derived(c)]
    for row in ("no-bubbles", "heard-nothing"):
        shares = [f.share for f in found if f.id == row]
        if len(shares) == len(case.engine.cylinders):
            found.append(Finding(row, (), "on every cylinder", min(shares)))
    return found


def _row(row: str, c: CylinderCase, path: str, share: float, partner: int | None = None) -> Finding:
    at = usual_points().get(PathId(path))
    words = f"cylinder {c.cylinder}: {at.words if at else names.path(path)}, {_how(c, path)}"
    return Finding(row, (c.cylinder,), words, share, partner)


def _how(c: CylinderCase, path: str) -> str:
    """Who heard it, and when where it was before."""
    before = f"; {c.heard_before}" if c.heard_before else ""
    if c.decided:
        return f"decided by {c.decided_by or 'the supervisor'}"
    if path in c.paths:
        return f"{figures.sure(c.paths[path])} by the microphone alone{before}"
    return f"called by ear{before}"


def filler_on_all(case: EngineCase) -> bool:
    """True where most of the cylinders listened to are heard at the filler, which says nothing of one of them."""
    listened = [c for c in case.cylinders if c.paths or c.by_ear or c.decided]
    heard = [c for c in listened if heard_share(c, "rings")]
    enough = min(MIN_LISTENED, max(2, len(case.engine.cylinders)))
    return len(listened) >= enough and len(heard) >= threshold("most_share") * len(listened)


def _coolant(c: CylinderCase) -> list[Finding]:
    if c.bubbles_seen:
        return [Finding("bubbles", (c.cylinder,), f"cylinder {c.cylinder}: bubbles seen")]
    share = heard_share(c, "coolant-passage")
    if share:
        return [_row("bubbles", c, "coolant-passage", share)]
    return [Finding("no-bubbles", (c.cylinder,), f"cylinder {c.cylinder}")] if c.bubbles_seen is False else []


def _holes(case: EngineCase, c: CylinderCase) -> tuple[int, ...]:
    """Neighbours at whose plug hole its air came out; where it has but one, that one."""
    beside = neighbours(case.engine, c.cylinder)
    return c.heard_at_holes or (beside if len(beside) == 1 else ())


def _next(case: EngineCase, c: CylinderCase) -> Iterator[Finding]:
    share, holes = heard_share(c, "next-cylinder"), _holes(case, c)
    if not share:
        return
    # Of two holes nobody knows which leads on.
    partner = holes[0] if len(holes) == 1 else None
    rows = {"exhaust-valve": "heard-neighbour-and-tailpipe", "intake-valve": "heard-neighbour-and-intake"}
    carried = [row for path, row in rows.items() if heard_share(c, path)]
    for row in carried or ["heard-neighbour"]:
        yield _row(row, c, "next-cylinder", share, partner)
    other = next((o for o in case.cylinders if o.cylinder == partner), None)
    if other is None:
        return
    back = heard_share(other, "next-cylinder")
    if back and not carried and c.cylinder in _holes(case, other):
        yield _row("heard-neighbour-both-ways", c, "next-cylinder", min(share, back), partner)
    elif other.paths and not back:
        yield Finding("heard-neighbour-one-way", (c.cylinder,), f"cylinder {c.cylinder} into {partner}, not back")


def _nothing(c: CylinderCase) -> list[Finding]:
    share = heard_share(c, "none") if c.paths or c.decided else 0.0
    if not share or c.bubbles_seen:
        return []
    lost = c.figures.get(LOSS, 0.0) > threshold("loss_high_percent")
    row = "loss-without-hiss" if lost else "heard-nothing"
    return [Finding(row, (c.cylinder,), f"cylinder {c.cylinder}: sound by what was heard", share)]


def _derived(c: CylinderCase) -> Iterator[Finding]:
    # Of the coolant its bubbles speak, a finding of their own.
    ways = {str(p) for row in point_rows() for p in row.own} - {PathId.COOLANT_PASSAGE}
    named = {path for path in ways if heard_share(c, path)} if c.paths or c.decided else set()
    here = f"cylinder {c.cylinder}"
    if named:
        yield Finding("some-path-heard", (c.cylinder,), here)
    if c.decided and c.paths:
        loudest = max(c.paths, key=lambda p: c.paths[p])
        words = f"{_how(c, '')} {', '.join(c.decided)}; microphone {loudest} {figures.sure(c.paths[loudest])}"
        yield Finding("person-and-tool-disagree", (c.cylinder,), f"{here}: {words}")
    elif named and c.by_ear and not named & set(c.by_ear):
        words = f"ear {', '.join(c.by_ear)}; microphone {', '.join(sorted(named))}"
        yield Finding("ear-and-tool-disagree", (c.cylinder,), f"{here}: {words}")
