"""Clips of the tested cylinder's own plug hole, where the adapter sits: set aside with a word, the rest is judged."""

from dataclasses import replace

from listen.errors import RoundError
from listen.judge.result import BubbleRates, PointResult
from listen.rounds.describe import nothing_measured
from listen.rounds.model import Round
from listen.signal.flags import Flag
from listen.trade.points import point, walking_order


def own_hole(round_: Round) -> str | None:
    """The point at which the adapter sat, where the round has clips of it and says which cylinder was tested.

    Raises RoundError: it has no others."""
    number = round_.facts.cylinder
    points = dict.fromkeys(t.point for t in round_.takes)
    own = next((p for p in points if number is not None and point(p).neighbour == number), None)
    if own is not None and len(points) == 1:
        raise RoundError(
            f"{round_.name}: {own} is the cylinder under test, where the adapter sits, and no other point was "
            "recorded; record the other points, quiet and air"
        )
    return own


def without_own_hole(round_: Round, own: str) -> Round:
    return replace(round_, takes=tuple(t for t in round_.takes if t.point != own))


def told_of_own_hole(round_: Round, own: str, judged: tuple[PointResult, ...]) -> tuple[PointResult, ...]:
    """All points in walking order, the one set aside among them with its flag and no number."""
    aside = sum(t.point == own for t in round_.takes)
    text = (
        f"The adapter sits here, at cylinder {round_.facts.cylinder} under test: nothing of these clips is weighed; "
        "record the neighbours' plug holes instead."
    )
    flag = Flag(flag="own-plug-hole", value=aside, limit=0, text=text)
    told = nothing_measured(own, judged[0].level_unit, (flag,), BubbleRates(0.0, 0.0))
    return tuple(sorted((*judged, told), key=lambda p: walking_order(p.point)))
