"""Whether anything shows that air was in the cylinder in the air clips only.

Silence everywhere is what a sound cylinder gives, and a closed tap, and air left on throughout.
"""

from collections.abc import Sequence

from listen.rounds.blunders import Blunder
from listen.rounds.model import Facts
from listen.rounds.weigh import Measured
from listen.signal.flags import Flag
from listen.trade.restrictor import leak_mm

UNHEARD_MM = 1.0
"""Bore of the hole that a loss stands for, from which silence at every point is no longer believed: 23 % behind 1.0 mm.
Normal blow-by of the bench's worlds passes up to 0.8 mm, of a worn fleet up to 1.0."""
UNHEARD_PERCENT = 40.0
"""The same where the restrictor is not known: 0.8 mm loses as much behind 0.7 mm. Judgement."""


def air_doubted(weighed: Sequence[Measured], facts: Facts, *, bubbles: bool = False) -> Blunder | None:
    """A doubt where nothing was heard at any point: no loss was read, or more than silence goes with.

    ``bubbles`` that speak for the coolant came with the air: then it was on.
    """
    measured = [w for w in weighed if w.excess is not None]
    if not measured or any(w.excess is not None and w.excess.detected for w in measured):
        return None
    if bubbles or facts.air_followed:
        return None
    points = (measured[0].takes.point,)
    loss = facts.loss_percent
    if loss is None:
        text = (
            "Nothing was louder at any point with the air on, and no loss was read (0 readings, 1 is needed): nothing "
            "shows that air was in the cylinder; read the loss with the air on, then walk the air clips again."
        )
        return Blunder(Flag(flag="air-unproven", value=0.0, limit=1.0, text=text), points)
    if facts.restrictor_mm is not None and facts.supply_kpa is not None and 0.1 <= loss <= 99.9:
        found, limit = leak_mm(loss, facts.restrictor_mm, facts.supply_kpa), UNHEARD_MM
        stands = f"stands for a {found:.1f} mm hole ({limit:g}"
    else:
        found, limit = loss, UNHEARD_PERCENT
        stands = f"is high ({limit:g} %"
    if found < limit:
        return None
    text = (
        f"The loss of {loss:.0f} % {stands} or more should be heard), yet nothing "
        "was louder at any point with the air on: it may have been off in the air walk, or on in the quiet one; "
        "walk both again."
    )
    return Blunder(Flag(flag="air-not-heard", value=found, limit=limit, text=text), points)
