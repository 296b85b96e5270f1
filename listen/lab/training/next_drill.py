"""What to train next: it follows from where a learner loses, and guessing is told apart from calling too much.

Fresh rounds are the rule; every set that is kept is met once, when one is ready for it, as a test without a staircase.
"""

from collections import Counter, deque
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import msgspec

from listen.lab.learners import Learner
from listen.lab.training.book import Answer
from listen.lab.training.drills import LEVELS, DrillSet, list_drills
from listen.lab.training.scoring import LEAST_MET, START_DB, TWO, UP_DB, WEAK_BELOW, floor_db, found, level_db
from listen.lab.training.session import PRACTICE, answers_of, unfinished
from listen.rate import counted
from listen.voice.names import path as path_name

FIRST = ("intake-valve", "exhaust-valve", "rings", "none")
MORE = (*FIRST, "coolant-passage", "next-cylinder")
ALL = (*MORE, "fitting", "set-up", TWO)
STAGES = (FIRST, MORE, ALL)
"""What a learner may meet; each opens once the one before is called right often enough."""
RECENT = 40
"""Answers looked at for how someone stands."""
PASS_OF, PASS_SHARE = 16, 0.7
"""So many of a stage, so many of them right, open the next; staircases settle near three of four."""
PLAIN_DB = START_DB - UP_DB
"""From here on a round is plain to anybody who listens at every point."""
LEAST_PLAIN = 6
GUESS_BELOW = 0.6
"""Share of plain rounds: who is surely below it (95 %) does not hear, or does not listen."""
LEAST_SOUND = 4
OVER_CALLS = 0.4
"""Share of sound cylinders on which a leak was called; with leaks found as they are (``HITS``), that is calling too
much and no guessing."""
HITS = 0.6
SHY = 0.4
"""Share of plain rounds that were left uncalled."""

Kind = Literal["new", "guesses", "over-calls", "shy", "misses", "strong", "steady"]


class Profile(msgspec.Struct, frozen=True, kw_only=True):
    kind: Kind
    why: str
    weak: str = ""
    taken_for: str = ""
    """What that is most often taken for."""
    stage: int = 0


class Suggestion(msgspec.Struct, frozen=True, kw_only=True):
    drill: DrillSet | None = None
    """A kept set to play, or"""
    pool: tuple[str, ...] = ()
    """what fresh rounds shall be drawn from."""
    why: str

    @property
    def title(self) -> str:
        if self.drill is not None:
            return self.drill.title
        often = {x: " (twice as often)" if self.pool.count(x) > 1 else "" for x in self.pool}
        return "Fresh rounds: " + ", ".join(f"{name(x)}{more}" for x, more in often.items())


def name(trains: str) -> str:
    return trains if trains == TWO else path_name(trains)


def _stage(answers: Sequence[Answer]) -> int:
    """Furthest stage opened so far; what was once opened stays open."""
    at, window = 0, deque[bool](maxlen=PASS_OF)
    for a in answers:
        if at + 1 < len(STAGES) and a.trains in STAGES[at]:
            window.append(found(a))
            if len(window) == PASS_OF and sum(window) >= PASS_SHARE * PASS_OF:
                at += 1
                # What was right at this stage opens no further one.
                window.clear()
    return at


def profile(every: Sequence[Answer]) -> Profile:
    answers = [a for a in every if a.trains]
    stage = _stage(answers)
    recent = answers[-RECENT:]
    if len(recent) < LEAST_PLAIN:
        return Profile(kind="new", stage=stage, why="A few plain leaks first: listen at every point before you call.")
    plain = [a for a in recent if (a.level_db or 0.0) >= PLAIN_DB]
    leaks = [a for a in plain if a.truth != ("none",)]
    sound = [a for a in recent if a.truth == ("none",)]
    hits = counted(leaks, found)
    false = counted(sound, lambda a: bool(set(a.paths) - {"none"}))
    finds = counted([a for a in recent if a.truth != ("none",)], found).value or 0.0
    # Habits first: who calls a leak on everything would seem weak at sound cylinders, and strong at every path.
    if len(sound) >= LEAST_SOUND and (false.value or 0.0) >= OVER_CALLS and finds >= HITS:
        why = (
            f"You call leaks on sound cylinders ({false.hits} of {false.of}) and find those there are: "
            "more sound ones, with the blow-by they all have."
        )
        return Profile(kind="over-calls", stage=stage, why=why)
    shy = counted(plain, lambda a: not a.paths)
    if len(plain) >= LEAST_PLAIN and (shy.value or 0.0) >= SHY:
        why = f"You named nothing in {shy.hits} of {shy.of} plain rounds: call what you think, and say how sure."
        return Profile(kind="shy", stage=stage, why=why)
    if len(leaks) >= LEAST_PLAIN and hits.high95 is not None and hits.high95 < GUESS_BELOW:
        why = (
            f"You found {hits.hits} of {hits.of} leaks that were plain, about as guessing would: check the headphones "
            "(p), then two paths and a sound cylinder only, back to back at each point."
        )
        return Profile(kind="guesses", stage=0, why=why)
    if weak := _weakest(recent):
        taken = Counter(p for a in recent if a.trains == weak and not found(a) for p in a.paths or ("none",))
        taken_for = next((p for p, _ in taken.most_common() if p != weak), "none")
        lost = counted([a for a in recent if a.trains == weak], found)
        why = f"Where you lose most: {name(weak)}, right in {lost.hits} of {lost.of}, taken for {name(taken_for)}."
        return Profile(kind="misses", weak=weak, taken_for=taken_for, stage=stage, why=why)
    if stage == len(STAGES) - 1 and all(level_db(t, answers) <= floor_db(t) + UP_DB for t in FIRST):
        why = "You call what is faint: all paths, with what fools an ear; find your threshold (t) once a week."
        return Profile(kind="strong", stage=stage, why=why)
    plainest = max(STAGES[stage], key=lambda t: level_db(t, answers) - floor_db(t))
    why = f"On the way: each path gets fainter as you call it right; {name(plainest)} is furthest back."
    return Profile(kind="steady", stage=stage, why=why)


def _weakest(recent: Sequence[Answer]) -> str:
    """Staircase lost while it was still plain: fainter ones are lost by everybody, that is what a staircase does."""
    met = {t: [a for a in recent if a.trains == t and (a.level_db or 0.0) > floor_db(t)] for t in ALL}
    rates = {t: counted(mine, found).value or 0.0 for t, mine in met.items() if len(mine) >= LEAST_MET + 1}
    worst = min(rates, key=lambda t: (rates[t], t), default="")
    return worst if worst and rates[worst] < WEAK_BELOW - 0.2 else ""


def pool_of(how: Profile) -> tuple[str, ...]:
    """What fresh rounds are drawn from; what stands twice comes twice as often, and the learner is told."""
    if how.kind == "guesses":
        return ("intake-valve", "exhaust-valve", "none")
    if how.kind == "over-calls":
        return ("none", "none", "rings", "intake-valve")
    if how.kind == "misses":
        beside = [t for t in (how.taken_for, "none", *STAGES[how.stage]) if t != how.weak and t in ALL]
        return (how.weak, how.weak, *list(dict.fromkeys(beside))[:3])
    return STAGES[how.stage]


def choose(drills: Sequence[DrillSet], answers: Sequence[Answer], begun: Sequence[str] = ()) -> Suggestion:
    """Choose for someone who gave ``answers`` so far and left the drills ``begun`` half way."""
    by_id = {d.id: d for d in drills}
    if left := next((by_id[b] for b in begun if b in by_id), None):
        return Suggestion(drill=left, why="Begun and not finished.")
    how = profile(answers)
    played = {a.drill for a in answers}
    fresh_since = next((n for n, a in enumerate(reversed(answers)) if a.drill != PRACTICE), len(answers))
    if how.kind not in ("new", "guesses", "over-calls", "shy") and fresh_since >= RECENT // 2:
        ready = [d for d in drills if d.id not in played and _ready(d, how.stage, answers)]
        if ready:
            return Suggestion(drill=ready[0], why="Time for a test: rounds that are the same for everybody.")
    return Suggestion(pool=pool_of(how), why=how.why)


def _ready(drill: DrillSet, stage: int, answers: Sequence[Answer]) -> bool:
    """Shipped sets by stage; the shop's own once all paths are open."""
    if drill.level == LEVELS[0]:
        return stage >= 1
    return stage >= len(STAGES) - 1


def suggest(root: Path, learner: Learner) -> Suggestion:
    begun = [s.opened.drill for s in unfinished(root, learner)][::-1]
    return choose(list_drills(root), answers_of(root, learner), begun)
