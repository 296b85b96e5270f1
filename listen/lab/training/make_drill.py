"""A new drill from the simulator: how many rounds, which truths, how loud, over which backgrounds, from one seed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import msgspec
import numpy as np

from listen.errors import LabError, UsageError
from listen.lab.simulator.draw import SHORTEST_TAKE_S, Wishes, draw
from listen.lab.simulator.scene import RoundSpec
from listen.lab.simulator.shops import SOUND_FILES, recorded
from listen.lab.simulator.truth import GENERATOR
from listen.lab.simulator.write import write_round
from listen.lab.training.clues import clue
from listen.lab.training.drills import DrillItem, DrillSet, new_set, write_drill
from listen.plain_name import plain_name
from listen.trade.points import Kind, PathId

POPULATION = "tune"
MAX_ROUNDS = 200
"""Most rounds in one drill; a sitting is ten to twenty."""
NO_PAIR = frozenset({"none", "fitting", "set-up"})
"""Truths that stand alone."""
POINTS = ("intake", "tailpipe", "oil-filler", "radiator")
WALK = (Kind.QUIET, Kind.AIR, Kind.QUIET)
NEEDS = {PathId.NEXT_CYLINDER: "plug-hole-2"}
"""Point a truth needs beyond the usual ones."""


@dataclass(frozen=True, slots=True)
class MakeWish:
    """What a drill shall hold."""

    rounds: int = 10
    paths: tuple[tuple[str, ...], ...] = ()
    """Truths to draw from, each one path or a pair; empty means all single ones and sound."""
    hiss_db: tuple[float, float] = (0.0, 12.0)
    """Hiss about the background."""
    backgrounds: Path | None = None
    """Folder of sound files; None means the synthetic shops."""
    seconds: float = 3.0
    seed: int = 1


EVERYTHING: tuple[tuple[str, ...], ...] = tuple((str(p),) for p in PathId)


@dataclass(frozen=True, slots=True)
class Made:
    """One round to be written: what it is and what is said about it afterwards."""

    spec: RoundSpec
    focus: tuple[str, ...]
    gave_away: str


def _check(wish: MakeWish) -> tuple[tuple[PathId, ...], ...]:
    if not 1 <= wish.rounds <= MAX_ROUNDS:
        raise UsageError(f"{wish.rounds} rounds asked for; from 1 to {MAX_ROUNDS} can be made")
    low, high = wish.hiss_db
    if not -30.0 <= low <= high <= 40.0:
        raise UsageError(f"hiss from {low:g} to {high:g} dB; give the lower first, both from -30 to 40")
    if not SHORTEST_TAKE_S <= wish.seconds <= 30.0:
        raise UsageError(f"clips of {wish.seconds:g} s; from {SHORTEST_TAKE_S:g} to 30 s can be made")
    known = {str(p) for p in PathId}
    for names in wish.paths:
        if bad := [n for n in names if n not in known]:
            raise UsageError(f"{bad[0]!r} is not an escape path; known: {' '.join(sorted(known))}")
        if len(names) > 2 or len(set(names)) < len(names) or (len(names) > 1 and NO_PAIR & set(names)):
            raise UsageError(f"{'+'.join(names)}: only two different escape paths of the engine make a pair")
    return tuple(tuple(PathId(n) for n in names) for names in wish.paths or EVERYTHING)


def _files(folder: Path | None) -> tuple[Path, ...]:
    if folder is None:
        return ()
    found = tuple(sorted(p for p in folder.glob("*") if p.suffix.lower() in SOUND_FILES))
    if not found:
        raise LabError(f"{folder}: holds no sound files ({' '.join(SOUND_FILES)}); give a folder of backgrounds")
    return found


def draw_rounds(wish: MakeWish) -> list[Made]:
    """Draw the rounds of a drill; truths take turns, so that each comes about equally often.

    Raises
    ------
    UsageError
        A wish that cannot be met.
    LabError
        No backgrounds there.
    RoundError
        A background too short for clips.
    """
    truths, files = _check(wish), _files(wish.backgrounds)
    rng = np.random.default_rng(wish.seed)
    order = [truths[i % len(truths)] for i in range(wish.rounds)]
    rng.shuffle(order)
    made = []
    for number, paths in enumerate(order, 1):
        extra = tuple(NEEDS[p] for p in paths if p in NEEDS)
        wishes = Wishes(
            paths=tuple(paths),
            hiss_db=wish.hiss_db,
            points=POINTS + extra,
            seconds=(wish.seconds, wish.seconds),
            takes=WALK,
            rate_hz=48_000,
            background=recorded(rng, files) if files else None,
        )
        spec = draw(rng, POPULATION, wishes=wishes, name=f"{number:02d}")
        made.append(Made(spec, focus_of(spec), clue(spec.truth.paths)))
    return made


def _shortest_s(spec: RoundSpec) -> float:
    return min(take.seconds for p in spec.points for take in p.takes)


def focus_of(spec: RoundSpec) -> tuple[str, ...]:
    """Tags that follow from a drawn round: its truth and how faint it is."""
    tags = [str(p) for p in spec.truth.paths]
    loudest = max((c.hiss_db for c in spec.truth.causes), default=0.0)
    if spec.truth.causes and loudest < 0:
        tags.append("faint")
    if len(spec.truth.causes) > 1:
        tags.append("two leaks")
    return tuple(tags)


def write_set(
    drill: DrillSet, made: list[Made], folder: Path, progress: Callable[[int], None] | None = None
) -> DrillSet:
    """Render and write a set of rounds into ``folder`` (new); half a set is removed again where it fails.

    Raises
    ------
    LabError
        The folder exists or cannot be written.
    """
    items = tuple(DrillItem(id=m.spec.name, focus=m.focus, gave_away=m.gave_away) for m in made)
    drill = msgspec.structs.replace(drill, items=items, simulated=True, generator=GENERATOR)
    with new_set(folder):
        for number, one in enumerate(made, 1):
            write_round(one.spec, folder / one.spec.name)
            if progress:
                progress(number)
        return write_drill(drill, folder)


def make_drill(
    title: str,
    wish: MakeWish,
    folder: Path | None = None,
    *,
    parent: Path,
    progress: Callable[[int], None] | None = None,
) -> DrillSet:
    """Draw and write a drill; its folder follows from the title where none is given.

    Raises
    ------
    UsageError
        A wish that cannot be met, or no title.
    LabError
        No backgrounds there, a folder that is there already, or the disk.
    RoundError
        A background too short for clips.
    """
    title = " ".join(title.encode("utf-8", "replace").decode().split())
    if not title:
        raise UsageError("a drill needs a title, such as 'Faint ones'")
    made = draw_rounds(wish)
    about = f"{wish.rounds} simulated rounds, hiss {wish.hiss_db[0]:g} to {wish.hiss_db[1]:g} dB about the background."
    shortest = min(_shortest_s(m.spec) for m in made)
    if shortest < wish.seconds:
        about += f" Clips are cut to as little as {shortest:g} s: the backgrounds hold no more."
    drill = DrillSet(id=_identifier(title), title=title, level="own", about=about, seed=wish.seed)
    return write_set(drill, made, folder or parent / drill.id, progress)


def _identifier(title: str) -> str:
    """The title as a name of a folder; where no letter of it can stand in one, its hash tells drills apart."""
    return plain_name(title) or f"drill-{sha256(title.encode()).hexdigest()[:6]}"
