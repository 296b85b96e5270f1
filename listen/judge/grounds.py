"""What a verdict must rest on beside its odds: a path on its own point, silence on having listened with the air on.

The odds weigh what was recorded. They cannot know what was not: a walk without the tailpipe says nothing of the exhaust
valve, a clipped or broken clip at a rival's point hides the rival, and nothing heard proves nothing if no air was on.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from listen.judge.hypotheses import LEAKS
from listen.trade.points import PathId, Point, usual_points

MOST_BLOW_BY_DB = 3.0
"""Excess beyond which no normal blow-by reaches a point that is not the crankcase's own: the lower end of its interval.
Blow-by heard there by cross-talk in the accuracy bench stays below 2 dB. Seats that weep are heard beyond it on sound
cylinders: of 48 that strangers made, odds of 0.90 for sound and a low loss read, 45 were sound."""
MOST_LIMIT_DB = 15.0
"""Where only more than this would have been seen, silence says nothing. One quiet clip alone leaves 5 dB, an unsteady
shop up to 14 dB in the accuracy bench's tuning rounds, and silence held there."""
BUBBLES_SPEAK_DB = 10.0
"""Decibans from which bubbles stand for a hiss at the radiator: odds of ten to one, more than gaskets are rarer than
other faults. Judgement."""


@dataclass(frozen=True, slots=True)
class Ground:
    """What one point's clips can carry."""

    point: Point
    usable: bool
    """A pair of clips that could be measured."""
    least_excess_db: float | None
    """Lower end of the excess' interval where hiss was detected, else None."""
    limit_db: float = 0.0
    """Excess that would have been detected."""
    gain_changed: bool = False
    """All bands moved together, also where no leak is heard."""
    before_shut_off: bool = False
    """Air was heard with the cylinder side shut off."""
    nothing_followed: bool = False
    """Taken by switching the air, and nothing heard here followed it: no leak, or no air."""
    whistles: bool = False
    """A tone comes with the air..."""
    whistles_alone: bool = False
    """...and no point of another path has it: what a fitting whistles is heard at several."""

    @property
    def speaks(self) -> bool:
        """Whether something was found here that comes with the air and out of this point."""
        return self.least_excess_db is not None or self.whistles_alone


@dataclass(frozen=True, slots=True)
class Missing:
    """Why something cannot be said, and what to do."""

    why: str
    then: str


def withheld(
    grounds: Sequence[Ground],
    *,
    air_on: bool = True,
    bubbles: bool = False,
    loss_db: float = 0.0,
    known: tuple[str, ...] | None = None,
    single: bool = False,
) -> Mapping[PathId, Missing]:
    """What may not be said in spite of its odds, and why.

    Parameters
    ----------
    grounds
        One for each point recorded.
    air_on
        Whether a loss was read: the other proof beside audible blow-by that the cylinder was under air.
    bubbles
        Whether bubbles speak for the coolant, which then needs no hiss at the radiator.
    loss_db
        Decibans by which the loss read speaks for a sound cylinder.
    known
        The engine's points, where they are known.
    single
        Whether the engine has this cylinder only: nothing is asked for that takes another.
    """
    mouths = usual_points(known)
    silence = _no_silence(grounds, air_on, mouths, loss_db) or _too_much_lost(loss_db, single)
    found = {PathId.NONE: silence, PathId.SET_UP: _not_both(grounds, mouths)}
    found[PathId.FITTING] = _not_alike(grounds) or _rival_unheard(grounds, PathId.FITTING)
    for path in LEAKS:
        # Water swallows the hiss: bubbles that speak for the coolant need none beside them.
        quiet = None if bubbles and path is PathId.COOLANT_PASSAGE else _not_at_its_own(grounds, path)
        found[path] = quiet or _rival_unheard(grounds, path)
    return {path: missing for path, missing in found.items() if missing is not None}


def bubbles_speak(evidence_db: Mapping[PathId, Mapping[str, float]]) -> bool:
    """Whether bubbles heard or seen speak for the coolant by themselves."""
    terms = evidence_db.get(PathId.COOLANT_PASSAGE, {})
    return max(terms.get("bubbles-heard", 0.0), terms.get("bubbles-seen", 0.0)) >= BUBBLES_SPEAK_DB


def _not_at_its_own(grounds: Sequence[Ground], path: PathId) -> Missing | None:
    own = [g for g in grounds if path in g.point.row.own]
    if not own or any(g.speaks for g in own):
        return None
    words = own[0].point.words
    return Missing(
        f"nothing was heard at the {words} itself",
        f"Record the {words} again in a quieter moment, quiet, air, quiet.",
    )


def _rival_unheard(grounds: Sequence[Ground], path: PathId) -> Missing | None:
    for g in grounds:
        # A point at which this path itself comes out, or no leak does, hides no rival.
        if path in g.point.row.own or not any(p in LEAKS for p in g.point.row.own):
            continue
        if not g.usable:
            return Missing(
                f"the clips of the {g.point.words} cannot be used, and the air may come from there",
                f"Record the {g.point.words} again, quiet and air, with less input gain if they were clipped.",
            )
        if g.limit_db > MOST_LIMIT_DB and not g.speaks:
            return Missing(
                f"at the {g.point.words} only {g.limit_db:.0f} dB would have been seen, and air may come from there",
                f"Record the {g.point.words} again in a quieter moment, quiet, air, quiet.",
            )
    return None


def _unheard(grounds: Sequence[Ground], mouths: Mapping[PathId, Point]) -> Missing | None:
    for path, mouth in mouths.items():
        if not any(g.usable and path in g.point.row.own for g in grounds):
            tried = [g.point for g in grounds if path in g.point.row.own]
            where = (tried[0] if tried else mouth).words
            why = f"no clips of the {where} can be used" if tried else f"the {where} was not listened at"
            return Missing(why, f"Record the {where}, quiet and air.")
    return None


def more_than_blow_by(at: Point, least_excess_db: float | None) -> bool:
    """Whether more is heard at a point than blow-by carries there from the crankcase."""
    return (least_excess_db or 0.0) > MOST_BLOW_BY_DB and PathId.RINGS not in at.row.own


def _no_silence(
    grounds: Sequence[Ground], air_on: bool, mouths: Mapping[PathId, Point], loss_db: float
) -> Missing | None:
    # Rings always pass some air (METHOD section 4): blow-by heard shows as well as a loss read that air was on.
    if not air_on and not any(g.speaks and PathId.RINGS in g.point.row.own for g in grounds):
        return Missing(
            "nothing shows that the air was on: no loss was read and no blow-by was heard",
            "Read the loss with the air on.",
        )
    for g in grounds:
        if g.before_shut_off:
            return Missing(
                f"air is heard at the {g.point.words} with the cylinder side shut off",
                "Soap hose, adapter and gauge up to the shut-off, and walk the points again.",
            )
    usable = [g for g in grounds if g.usable]
    # `all` of no clips is true: without `usable` a walk with none would be told of its switching.
    if usable and all(g.nothing_followed for g in usable):
        return Missing(
            "nothing at any point followed the switching: either nothing leaks, or the air never came",
            "Turn the valve and watch the tester's needle: if it follows, say so; if not, find out why and take again.",
        )
    loud = [g for g in grounds if more_than_blow_by(g.point, g.least_excess_db)]
    # Every seat weeps a little: beside a needle that says how little, the odds know what that sounds like.
    if loud and (loss_db <= 0.0 or not all(g.usable for g in loud)):
        worst = max(loud, key=lambda g: g.least_excess_db or 0.0)
        return Missing(
            f"the {worst.point.words} was louder with the air on, by a hiss or by a change of the shop",
            f"Record the {worst.point.words} again, quiet, air, quiet, shortly after each other.",
        )
    for g in grounds:
        if g.whistles and not g.whistles_alone:
            return Missing(
                "a whistle comes with the air at several points: it may come from hose, adapter or tester",
                "Soap them and look for an edge, then walk the points again.",
            )
        if g.whistles:
            return Missing(
                f"a whistle comes with the air at the {g.point.words}",
                f"Look for an edge or a slit near the {g.point.words}, and record it again.",
            )
    # The deafest of them: where it would have shown, it would have shown everywhere.
    deaf = max((g for g in grounds if g.usable), key=lambda g: g.limit_db, default=None)
    if deaf is not None and deaf.limit_db > MOST_LIMIT_DB:
        return Missing(
            f"the shop changed so much that at the {deaf.point.words} only {deaf.limit_db:.0f} dB would have been seen",
            f"Record the {deaf.point.words} again in a quieter moment, quiet, air, quiet.",
        )
    return _unheard(grounds, {path: p for path, p in mouths.items() if p.row.on_every_engine})


def _too_much_lost(loss_db: float, single: bool) -> Missing | None:
    # A faint leak makes no sound that a shop lets through: silence does not outweigh a needle that says otherwise.
    if loss_db >= 0.0:
        return None
    again = "walk the points again in a quieter moment."
    return Missing(
        "the loss is more than sound cylinders usually show, and a faint leak would not have been heard",
        again.capitalize() if single else f"Read the loss of the other cylinders, or {again}",
    )


def _not_both(grounds: Sequence[Ground], mouths: Mapping[PathId, Point]) -> Missing | None:
    sides = (PathId.INTAKE_VALVE, PathId.EXHAUST_VALVE)
    # One side may be muffled out of hearing; with both silent only the needle says so.
    silent = not any(g.speaks and path in g.point.row.own for g in grounds for path in sides)
    return _unheard(grounds, {path: mouths[path] for path in sides if path in mouths}) or (
        _not_at_its_own(grounds, sides[0]) if silent else None
    )


def _not_alike(grounds: Sequence[Ground]) -> Missing | None:
    usable = [g for g in grounds if g.usable]
    # Two points with the gain unmoved: one alone cannot show that it is alike everywhere.
    if sum(not g.gain_changed for g in usable) >= 2:
        return None
    if len(usable) < 2:
        return Missing(
            "a hiss that is alike everywhere takes more than one point", "Walk the other points, quiet and air."
        )
    return Missing(
        "all bands moved together, as by a changed gain",
        "Turn automatic gain off and take quiet and air again, shortly after each other.",
    )
