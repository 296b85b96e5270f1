"""What may be said: a path when its odds have earned it, else "cannot tell", always with what would have been heard.

A path is named when the probability that it is at work at all reaches 1 - cost(repeat) / cost(wrong teardown)
(Chow 1970), under every set of assumptions; a hidden second leak can rarely be excluded, and need not be.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from listen.judge.assumptions import Assumptions
from listen.judge.grounds import Missing
from listen.judge.hypotheses import LEAKS
from listen.judge.learnt import ENGINE, SHOP
from listen.judge.posterior import Posterior
from listen.judge.result import TOP_FOUND_AGAIN, Verdict
from listen.trade.points import PathId
from listen.voice import verdicts
from listen.voice.figures import sure, sure_range

COST_OF_REPEAT = 1.0
COST_OF_WRONG_TEARDOWN = 10.0
NAME_AT = 1.0 - COST_OF_REPEAT / COST_OF_WRONG_TEARDOWN
"""Ten repeats weigh as much as one wrong teardown: 0.90. Judgement; the rule is Chow's (1970)."""
MENTION_AT = 0.10
"""Paths less probable than this are not listed when it cannot be told. Judgement."""
LEANS_BY = 0.03
"""A set of assumptions that takes so much off a probability is one it rests on. Judgement."""
READ: dict[str, str] = {
    "loss": "the loss read",
    "compression": "the compression read dry and wet",
    "bubbles-heard": "the bubbles heard",
    "bubbles-seen": "the bubbles seen",
    "whistle": "the whistle",
    TOP_FOUND_AGAIN: "the loss that stayed when top dead centre was found again",
    ENGINE: "what the other cylinders told of the engine",
    SHOP: "the shop's own teardowns",
}
"""Readings, and what was learnt, as what a verdict rests on."""

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
FIND_TOP_AGAIN = (
    "Release the air, find top dead centre on the compression stroke again, and repeat: what stays so is the valve."
)
LOOK_AT_VALVES = "Release the air and look at cam or rockers: at top dead centre on compression both valves are shut."
ONCE_FOUND_AGAIN: dict[str, str] = {
    "set-up": LOOK_AT_VALVES,
    **dict.fromkeys(("path", "several"), "Walk the points once more before anything is unbolted."),
}
"""Instead of it once top dead centre was found again: nobody is sent there twice."""


@dataclass(frozen=True, slots=True)
class Chance:
    """How probable one path is, and what that hangs on."""

    usual: float
    least: float
    """Under the least favourable set of assumptions."""
    by: Assumptions
    rests_on: tuple[str, ...]


def chance(odds: Posterior, path: PathId) -> Chance:
    """Probability that a path is at work, over all sets of assumptions."""
    under = odds.involved_under(path)
    # The least favourable set is named with a verdict that is not given, and what would clear it up.
    by = min(under, key=lambda a: under[a])
    usual = odds.involved(path)
    # In any set, alone or in a pair: a hidden second leak is nobody's reason to withhold the first.
    inside = np.array([path in h.paths for h in odds.sets])
    # Only a reading without which the name would not have been earned.
    readings = [READ[n] for n, p in odds.without.items() if usual >= NAME_AT > p @ inside and n in READ]
    leaning = sorted((a for a in under if under[a] < usual - LEANS_BY), key=lambda a: under[a])
    return Chance(usual, under[by], by, (*readings, *(f"that {a.words}" for a in leaning)))


def verdict(
    odds: Posterior,
    may_name: frozenset[PathId],
    unseen: str,
    next_best: str,
    withheld: Mapping[PathId, Missing] | None = None,
    *,
    single: bool = False,
) -> Verdict:
    """The verdict of a round.

    Parameters
    ----------
    odds
        Posterior over sets of causes.
    may_name
        Paths that something recorded or seen speaks of directly; others are never named, only asked for.
    unseen
        What a sound cylinder's sentence says was heard, and would have been.
    next_best
        The recording that would help most; used where it cannot be told.
    withheld
        What may not be said in spite of its odds, and why (:mod:`listen.judge.grounds`).
    single
        Whether the engine has this cylinder only: nothing is asked for that takes another.
    """
    withheld = withheld or {}
    read = odds.evidence_db.get(PathId.SET_UP, ())
    next_after = NEXT_AFTER | (ONCE_FOUND_AGAIN if TOP_FOUND_AGAIN in read else {})
    chances = {p: chance(odds, p) for p in odds.paths}
    # Odds alone are not enough: a path of which nothing recorded speaks gets its odds from what others lack.
    earned = [p for p in LEAKS if p in chances and chances[p].least >= NAME_AT and p in may_name]
    # A leak first: blow-by and a poor seat are there beside a real one, never the other way round.
    named = tuple(p for p in earned if p not in withheld)
    if named:
        kind = "path" if len(named) == 1 else "several"
        # Of several the least sure one's figure: the sentence holds for each of them.
        least = min(named, key=lambda p: chances[p].usual)
        text = f"Air escapes {' and '.join(ESCAPES[x] for x in named)} ({_sure(chances[least])} sure)."
        # Each once, in the order met.
        rests = tuple(dict.fromkeys(words for p in named for words in chances[p].rests_on))
        return Verdict(
            kind=kind,
            paths=named,
            probability=chances[least].usual,
            text=text + _resting(rests),
            next=next_after[kind],
            rests_on=rests,
        )
    for path, kind, text in (
        (PathId.SET_UP, "set-up", "Both sides blow: the piston is probably not at top dead centre on compression"),
        (PathId.FITTING, "fitting", "Loud at every mouth near the plug: a hose end, adapter or plug seat leaks"),
        (PathId.NONE, "sound", f"Sound: {unseen or 'nothing beyond normal blow-by'}"),
    ):
        if path in chances and chances[path].least >= NAME_AT and path not in withheld:
            its = chances[path]
            return Verdict(
                kind=kind,
                paths=(path,),
                probability=its.usual,
                text=f"{text.rstrip('.')} ({_sure(its)} sure)." + _resting(its.rests_on),
                next=next_after[kind],
                rests_on=its.rests_on,
            )
    if TOP_FOUND_AGAIN in read:
        next_best = LOOK_AT_VALVES if chances[PathId.SET_UP].usual >= MENTION_AT else next_best
    # Where the loss was not read, reading it tells more.
    elif "loss" in read and _valve_or_set_up(chances):
        next_best = FIND_TOP_AGAIN
    return _unclear(chances, next_best, _why_not(chances, may_name, withheld, single))


def _valve_or_set_up(chances: Mapping[PathId, Chance]) -> bool:
    """Whether a valve and a piston off top dead centre lead: with one valve open no clip tells these apart."""
    first = sorted(chances, key=lambda p: -chances[p].usual)[:2]
    valves = {PathId.INTAKE_VALVE, PathId.EXHAUST_VALVE}
    return PathId.SET_UP in first and bool(valves & set(first)) and all(chances[p].usual >= MENTION_AT for p in first)


def _sure(c: Chance) -> str:
    return sure_range(c.least, c.usual) if c.least < c.usual else sure(c.usual)


def _resting(rests_on: tuple[str, ...]) -> str:
    return f" This rests on {'; '.join(rests_on)}." if rests_on else ""


def _why_not(
    chances: Mapping[PathId, Chance], may_name: frozenset[PathId], withheld: Mapping[PathId, Missing], single: bool
) -> Missing | None:
    """Why the path that leads under the usual assumptions is not said; None where none has earned it under them."""
    leads = max(chances, key=lambda p: chances[p].usual, default=None)
    # Nothing was within reach of a name: the odds say why by themselves.
    if leads is None or chances[leads].usual < NAME_AT or (leads in LEAKS and leads not in may_name):
        return None
    if leads in withheld:
        return withheld[leads]
    by = chances[leads].by
    then = "repeat the whole walk" if single and by.others else by.instead
    return Missing(f"it would only hold if {by.words}", f"{then[:1].upper()}{then[1:]}.")


def _unclear(chances: Mapping[PathId, Chance], next_best: str, missing: Missing | None) -> Verdict:
    likely = sorted((p for p in chances if chances[p].usual >= MENTION_AT), key=lambda p: -chances[p].usual)
    listed = verdicts.odds((p, chances[p].usual) for p in likely) or "no path stands out"
    top = max((c.usual for c in chances.values()), default=0.0)
    text = (
        f"Cannot tell: {listed}." if missing is None else f"Cannot tell: {missing.why} ({listed} on what was recorded)."
    )
    then = next_best if missing is None else missing.then
    kind = TOP_FOUND_AGAIN if then == FIND_TOP_AGAIN else ""
    return Verdict(kind="unclear", paths=tuple(likely[:2]), probability=top, text=text, next=then, next_kind=kind)
