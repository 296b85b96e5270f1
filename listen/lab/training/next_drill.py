"""What to train next: what is due, at the weakest spot, harder where strong; spaced as a card box (Leitner 1972)."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import msgspec

from listen.lab.learners import Learner
from listen.lab.training.answers import Answer
from listen.lab.training.drills import LEVELS, DrillSet, list_drills
from listen.lab.training.make_drill import MakeWish
from listen.lab.training.scoring import score, weakest
from listen.lab.training.session import answers_of
from listen.trade.points import PathId

INTERVALS_DAYS = (0.0, 1.0, 3.0, 7.0, 14.0, 30.0)
"""Wait before a drill is due again, by box."""
STRONG = 0.8
"""Share right with which a drill moves up one box; below, it goes back to the first."""
HARDEST_DB = -12.0
STEP_DB = 3.0
"""Drills made for the strong get fainter by this, down to ``HARDEST_DB``."""
RECENT = 40
"""Answers looked at for the weakest spots and for how strong someone is."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How a learner stands with one drill."""

    box: int
    due: datetime


class Suggestion(msgspec.Struct, frozen=True, kw_only=True):
    """What to do next."""

    drill: DrillSet | None = None
    """A set to play, or"""
    make: MakeWish | None = None
    """a drill to be made."""
    why: str


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text)


def _sittings(answers: Iterable[Answer]) -> dict[str, list[list[Answer]]]:
    """Answers by drill and sitting, in order."""
    by_session: dict[tuple[str, str], list[Answer]] = {}
    for answer in answers:
        by_session.setdefault((answer.drill, answer.session), []).append(answer)
    sittings: dict[str, list[list[Answer]]] = {}
    for (drill, _), group in by_session.items():
        sittings.setdefault(drill, []).append(group)
    return sittings


def standing(sittings: Sequence[Sequence[Answer]]) -> Standing:
    """Box and due time after some sittings over one drill."""
    box = 0
    for sitting in sittings:
        share = sum(bool(a.right) for a in sitting) / len(sitting)
        box = min(box + 1, len(INTERVALS_DAYS) - 1) if share >= STRONG else 0
    return Standing(box, _time(sittings[-1][-1].time) + timedelta(days=INTERVALS_DAYS[box]))


def _ready(drill: DrillSet, passed: set[str]) -> bool:
    """A shipped level opens once the one below was done well; own drills always."""
    if drill.level not in LEVELS[:3]:
        return True
    at = LEVELS.index(drill.level)
    return at == 0 or LEVELS[at - 1] in passed


def _harder(recent: Sequence[Answer], weak: Sequence[str]) -> MakeWish:
    """A drill at the edge: weak paths if any, hiss lower the stronger the learner."""
    share = sum(bool(a.right) for a in recent) / len(recent) if recent else 0.0
    low = max(HARDEST_DB, 3.0 - STEP_DB * round((share - 0.6) / 0.08)) if share > 0.6 else 3.0
    known = {str(p) for p in PathId}
    paths = tuple((w,) for w in weak if w in known)
    mixed = (*paths, ("none",)) if paths and ("none",) not in paths else paths
    return MakeWish(rounds=10, paths=mixed, hiss_db=(low, low + 8.0), seed=len(recent) + 1)


def choose(drills: Sequence[DrillSet], answers: Sequence[Answer], now: datetime) -> Suggestion:
    """Choose from ``drills`` for someone who gave ``answers`` so far."""
    sittings = _sittings(answers)
    whole = {d.id: [s for s in sittings.get(d.id, ()) if len(s) >= len(d.items)] for d in drills}
    stands = {name: standing(s) for name, s in whole.items() if s}
    passed = {d.level for d in drills if d.id in stands and stands[d.id].box > 0}
    open_drills = [d for d in drills if _ready(d, passed)]
    begun = [d for d in open_drills if d.id in sittings and len(sittings[d.id][-1]) < len(d.items)]
    if begun:
        return Suggestion(drill=begun[0], why="Begun and not finished.")
    weak = weakest(score(answers[-RECENT:]))
    due = [d for d in open_drills if d.id in stands and stands[d.id].due <= now]
    if due:
        best = max(due, key=lambda d: (_touches(d, weak), now - stands[d.id].due))
        spot = next((w for w in weak if any(w in i.focus for i in best.items)), "")
        return Suggestion(drill=best, why=f"Due again{f'; your weakest spot is {spot}' if spot else ''}.")
    fresh = [d for d in open_drills if d.id not in stands]
    if fresh:
        return Suggestion(drill=fresh[0], why="Not played yet.")
    wish = _harder(answers[-RECENT:], weak)
    about = f"at your weakest: {', '.join(p[0] for p in wish.paths)}" if wish.paths else "all paths"
    return Suggestion(make=wish, why=f"Nothing is due. A new drill, {about}, hiss from {wish.hiss_db[0]:g} dB.")


def _touches(drill: DrillSet, weak: Sequence[str]) -> int:
    return sum(tag in weak for item in drill.items for tag in item.focus)


def suggest(root: Path, learner: Learner, now: datetime) -> Suggestion:
    """What this learner should train next."""
    return choose(list_drills(root), answers_of(root, learner), now)
