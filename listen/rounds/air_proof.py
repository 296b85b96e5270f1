"""Whether anything shows that air was in the cylinder in the air clips only.

Silence everywhere is what a sound cylinder gives, and a closed tap, and air left on throughout.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from listen.judge.assumptions import BASE
from listen.judge.evidence import RoundEvidence
from listen.judge.posterior import posterior
from listen.rounds.blunders import Blunder
from listen.rounds.model import Facts
from listen.rounds.weigh import Measured
from listen.signal.clip_print import ClipPrint
from listen.signal.flags import Flag
from listen.signal.point import PointTakes
from listen.trade.points import Kind, point

Weighing = Callable[[Sequence[PointTakes]], RoundEvidence]

NO_AIR_DB = 6.0
"""Evidence, decibans, from which the air is not believed to have been on: of 112 clean rounds of eight worlds, half
in recorded shops, 4 reach it, of as many with the air off 100. In the rest the shop hid what blow-by there was."""


AIR_WALK_DB = 6.0
"""The same, that a quiet walk had air: of 54 clean rounds none reaches it, of 53 with air in the first quiet walk 39;
5 more are doubted as if the air had been off, and in most of the rest no point heard anything."""
LOUDER_DB = 1.0
"""Only a quiet walk with a clip that hisses so much above another of its point is looked at. Judgement."""


def air_in_quiet(weighed_as: Weighing, points: Sequence[PointTakes], no_air_db: float) -> Blunder | None:
    """A quiet walk that, taken for an air walk, leaves a round that is more like a cylinder under air.

    ``weighed_as`` gives the evidence of points, ``no_air_db`` is that of the round as it is labelled.
    """
    found = []
    for number in range(max((len(_quiets(p)) for p in points), default=0)):
        louder = [p.point for p in points if _louder_db(p, number) > LOUDER_DB]
        if louder:
            moved = weighed_as([_as_air(p, number) for p in points])
            found.append((no_air_db - posterior(moved, (BASE,)).no_air_db, louder))
    gain_db, louder = max(found, default=(0.0, []))
    if gain_db < AIR_WALK_DB:
        return None
    text = (
        f"One quiet clip of the {point(louder[0]).words} hisses like an air clip, and so does its walk (evidence "
        f"{gain_db:.0f} dB, limit {AIR_WALK_DB:.0f} dB): the air was still on, or something else hissed from then on; "
        "shut the air off, wait for the gauge to fall to zero and walk the quiet clips again."
    )
    flag = Flag(flag="air-in-quiet", value=gain_db, limit=AIR_WALK_DB, text=text, reject=True)
    return Blunder(flag, tuple(louder))


def _quiets(p: PointTakes) -> list[ClipPrint]:
    return [m for m in p.prints if m.kind is Kind.QUIET]


def _louder_db(p: PointTakes, number: int) -> float:
    """How much a quiet clip hisses above the softest of its point."""
    quiets = _quiets(p)
    if number >= len(quiets) or Kind.AIR not in p.takes:
        return 0.0
    return max(float(np.median(quiets[number].wide_db - other.wide_db)) for other in quiets)


def _as_air(p: PointTakes, number: int) -> PointTakes:
    """The same point with one quiet clip counted as air."""
    quiets = _quiets(p)
    taken = quiets[number].bands if number < len(quiets) > 1 else None
    rest = tuple(t for t in p.takes.get(Kind.QUIET, ()) if t is not taken)
    if taken is None or not rest or Kind.AIR not in p.takes:
        return p
    return replace(p, takes={**p.takes, Kind.QUIET: rest, Kind.AIR: (*p.takes[Kind.AIR], taken)})


def air_doubted(
    weighed: Sequence[Measured], facts: Facts, no_air_db: float, *, bubbles: bool = False
) -> Blunder | None:
    """A doubt where too little was heard for a cylinder under air (``Posterior.no_air_db``), or nothing says there was.

    Blow-by, a sound cylinder's clips and the loss read all say what was to be heard, each as far as it goes. A needle
    that followed the valve, a whistle, or ``bubbles`` that speak for the coolant came with the air: then it was on.
    """
    measured = [w for w in weighed if w.excess is not None]
    followed = facts.air_followed or bubbles or any(w.takes.whistle_db is not None for w in measured)
    if not measured or followed:
        return None
    points = (measured[0].takes.point,)
    if facts.loss_percent is None and not any(w.excess is not None and w.excess.detected for w in measured):
        text = (
            "Nothing was louder at any point with the air on, and no loss was read (0 readings, 1 is needed): nothing "
            "shows that air was in the cylinder; read the loss with the air on, then walk the air clips again."
        )
        return Blunder(Flag(flag="air-unproven", value=0.0, limit=1.0, text=text), points)
    if no_air_db < NO_AIR_DB:
        return None
    again = "it may have been off in the air walk, or on in the quiet one: walk both again."
    if all(Kind.AIR in w.takes.locked for w in measured):
        again = (
            "turn the valve and watch the tester's needle: say so if it follows, find out why and take again if not."
        )
    read = "" if facts.loss_percent is None else f" that loses {facts.loss_percent:.0f} %"
    text = (
        f"Too little was heard with the air on for a cylinder{read}: no air at all explains it better (evidence "
        f"{no_air_db:.0f} dB, limit {NO_AIR_DB:.0f} dB); {again}"
    )
    return Blunder(Flag(flag="air-not-heard", value=no_air_db, limit=NO_AIR_DB, text=text), points)
