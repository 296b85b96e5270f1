"""What may be said: a path when its odds have earned it, else "cannot tell", always with what would have been heard.

A path is named when the probability that it is at work at all reaches 1 - cost(repeat) / cost(wrong teardown)
(Chow 1970); a hidden second leak can rarely be excluded, and need not be.
"""

from __future__ import annotations

from collections.abc import Mapping

from listen.judge.grounds import Missing
from listen.judge.hypotheses import LEAKS
from listen.judge.posterior import Posterior
from listen.judge.result import Verdict
from listen.trade.points import PathId
from listen.voice import verdicts
from listen.voice.figures import sure as percent

COST_OF_REPEAT = 1.0
COST_OF_WRONG_TEARDOWN = 10.0
NAME_AT = 1.0 - COST_OF_REPEAT / COST_OF_WRONG_TEARDOWN
"""Ten repeats weigh as much as one wrong teardown: 0.90."""
MENTION_AT = 0.10
"""Paths less probable than this are not listed when it cannot be told."""

ESCAPES: dict[PathId, str] = {
    PathId.INTAKE_VALVE: "past the intake valve",
    PathId.EXHAUST_VALVE: "past the exhaust valve",
    PathId.RINGS: "past the rings, beyond normal blow-by",
    PathId.COOLANT_PASSAGE: "into the coolant",
    PathId.NEXT_CYLINDER: "into the next cylinder",
}
NEXT_AFTER: dict[str, str] = {
    "path": "Turn the engine over, come up to top dead centre again and repeat once before anything is unbolted.",
    "several": "Turn the engine over, come up to top dead centre again and repeat once before anything is unbolted.",
    "sound": "",
    "fitting": "Release the air, re-seat the adapter and hose, soap them, and walk the points again.",
    "set-up": "Release the air, find top dead centre on the compression stroke again, and repeat.",
}


def verdict(
    odds: Posterior,
    may_name: frozenset[PathId],
    unseen: str,
    next_best: str,
    withheld: Mapping[PathId, Missing] | None = None,
) -> Verdict:
    """The verdict of a round.

    Parameters
    ----------
    odds
        Posterior over sets of causes.
    may_name
        Paths that something recorded or seen speaks of directly; others are never named, only asked for.
    unseen
        One sentence on what would have been heard, for a quiet verdict.
    next_best
        The recording that would help most; used where it cannot be told.
    withheld
        What may not be said in spite of its odds, and why (:mod:`listen.judge.grounds`).
    """
    chance = {p: odds.involved(p) for p in odds.paths}
    named = tuple(p for p in LEAKS if chance.get(p, 0.0) >= NAME_AT and p in may_name)
    if named:
        kind = "path" if len(named) == 1 else "several"
        p = min(chance[x] for x in named)
        text = f"Air escapes {' and '.join(ESCAPES[x] for x in named)} ({percent(p)} sure)."
        return Verdict(kind=kind, paths=named, probability=p, text=text, next=NEXT_AFTER[kind])
    for path, kind, text in (
        (PathId.SET_UP, "set-up", "Both sides blow: the piston is probably not at top dead centre on compression"),
        (PathId.FITTING, "fitting", "The hiss is alike everywhere: a hose end, adapter or plug seat leaks"),
        (PathId.NONE, "sound", f"Sound: nothing beyond normal blow-by. {unseen}".rstrip()),
    ):
        if chance.get(path, 0.0) >= NAME_AT and withheld and path in withheld:
            return _unclear(chance, next_best, withheld[path])
        if chance.get(path, 0.0) >= NAME_AT:
            end = f" ({percent(chance[path])} sure)."
            text = text.rstrip(".") + end
            return Verdict(kind=kind, paths=(path,), probability=chance[path], text=text, next=NEXT_AFTER[kind])
    return _unclear(chance, next_best)


def _unclear(chance: Mapping[PathId, float], next_best: str, missing: Missing | None = None) -> Verdict:
    likely = sorted((p for p in chance if chance[p] >= MENTION_AT), key=lambda p: -chance[p])
    listed = verdicts.odds((p, chance[p]) for p in likely) or "no path stands out"
    top = max(chance.values(), default=0.0)
    text = (
        f"Cannot tell: {listed}." if missing is None else f"Cannot tell: {missing.why} ({listed} on what was recorded)."
    )
    then = next_best if missing is None else missing.then
    return Verdict(kind="unclear", paths=tuple(likely[:2]), probability=top, text=text, next=then)
