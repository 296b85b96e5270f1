"""Whether anything shows that air was in the cylinder in the air clips only.

Silence everywhere is what a sound cylinder gives, and a closed tap, and air left on throughout.
"""

from collections.abc import Sequence

from listen.judge.result import Again
from listen.rounds.model import Facts
from listen.rounds.slips.slip import Blunder
from listen.rounds.weigh import Measured
from listen.signal.flags import Flag
from listen.trade.points import Kind

NO_AIR_DB = 6.0
"""Evidence, decibans, from which the air is not believed to have been on: of 112 clean rounds of eight worlds, half
in recorded shops, 4 reach it, of as many with the air off 100; of 350 in recorded shops drawn without the simulator 2,
with the air off .59 to .83. In the rest the shop hid what blow-by there was."""

NO_AIR_BESIDE_HISS_DB = 10.0
"""The same where a point's hiss was found: that may be a stranger's sound. Of 451 clean rounds none reaches 6 beside
one, a leak of +14 dB recorded with gaps did; of 548 with the air off one has a hiss found, at 12."""


def air_doubted(
    weighed: Sequence[Measured], facts: Facts, no_air_db: float, *, bubbles: bool = False
) -> Blunder | None:
    """A doubt where what was heard fits no air better (``Posterior.no_air_db``), or where nothing says there was any.

    Blow-by, a sound cylinder's clips and the loss read all say what was to be heard, each as far as it goes. A needle
    that followed the valve, a whistle, or ``bubbles`` that speak for the coolant came with the air: then it was on.
    """
    measured = [w for w in weighed if w.excess is not None]
    hiss = any(w.excess is not None and w.excess.detected for w in measured)
    followed = facts.air_followed or bubbles or any(w.takes.whistle_db is not None for w in measured)
    if not measured or followed:
        return None
    points = (measured[0].takes.point,)
    airs = tuple(Again(w.takes.point, Kind.AIR) for w in measured)
    if facts.loss_percent is None and not hiss:
        text = (
            "Nothing was louder at any point with the air on, and no loss was read (0 readings, 1 is needed): nothing "
            "shows that air was in the cylinder; read the loss with the air on, then walk the air clips again."
        )
        return Blunder(Flag(flag="air-unproven", value=0.0, limit=1.0, text=text), points, airs)
    limit_db = NO_AIR_BESIDE_HISS_DB if hiss else NO_AIR_DB
    if no_air_db < limit_db:
        return None
    again = "it may have been off in the air walk, or on in the quiet one: walk both again."
    clips = (*(Again(w.takes.point, Kind.QUIET) for w in measured), *airs)
    # A switched take has no walks to be taken again: the valve is to be looked at.
    if all(Kind.AIR in w.takes.locked for w in measured):
        clips = ()
        again = (
            "turn the valve and watch the tester's needle: say so if it follows, find out why and take again if not."
        )
    read = "" if facts.loss_percent is None else f" that loses {facts.loss_percent:.0f} %"
    text = (
        f"What was heard with the air on fits a cylinder{read} worse than no air at all (evidence {no_air_db:.0f} dB, "
        f"limit {limit_db:.0f} dB); {again}"
    )
    return Blunder(Flag(flag="air-not-heard", value=no_air_db, limit=limit_db, text=text), points, clips)
