"""A new drill from the simulator: how many rounds, which truths, how loud, over which backgrounds, from one seed."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from hashlib import sha256
from pathlib import Path
from secrets import token_hex

import numpy as np

from listen.errors import LabError, UsageError
from listen.lab.learners import drills_dir
from listen.lab.simulator.draw import SHORTEST_TAKE_S
from listen.lab.simulator.scene import GENERATOR, RoundSpec
from listen.lab.simulator.shops import SOUND_FILES, recorded
from listen.lab.training.book import CALLABLE
from listen.lab.training.drills import SUFFIX, DrillSet, write_drill
from listen.lab.training.fresh import BLOW_BY_DB, BUBBLES_PER_S
from listen.lab.training.lesson import SWITCHED_PERIOD_S, Lesson, bubbling, held_of, spec_of, switched
from listen.lab.training.seal import lab_key
from listen.plain_name import plain_name
from listen.signal.switched import LEAST_CYCLES
from listen.trade.points import Kind, PathId
from listen.voice.figures import counted

NO_PAIR = frozenset({"none", "fitting", "set-up"})
"""Truths that stand alone."""
WALK = (Kind.QUIET, Kind.AIR, Kind.QUIET)


@dataclass(frozen=True, slots=True)
class MakeWish:
    rounds: int = 10
    paths: tuple[tuple[str, ...], ...] = ()
    """Truths to draw from, each one path or a pair; empty means all single ones and sound."""
    hiss_db: tuple[float, float] = (0.0, 12.0)
    """Hiss about the background."""
    backgrounds: Path | None = None
    """Folder of sound files; None means the synthetic shops."""
    seconds: float = 3.0
    seed: int = 1
    switched: bool = False
    """Taken with the air switched at a standing microphone; ``seconds`` is then how long it is on, in whole cycles."""


def _check(wish: MakeWish) -> tuple[tuple[str, ...], ...]:
    low, high = wish.hiss_db
    if not -30.0 <= low <= high <= 40.0:
        raise UsageError(f"hiss from {low:g} to {high:g} dB; give the lower first, both from -30 to 40")
    if not SHORTEST_TAKE_S <= wish.seconds <= 30.0:
        raise UsageError(f"clips of {wish.seconds:g} s; from {SHORTEST_TAKE_S:g} to 30 s can be made")
    for names in wish.paths:
        if bad := [n for n in names if n not in CALLABLE]:
            raise UsageError(f"{bad[0]!r} is not an escape path; known: {' '.join(sorted(CALLABLE))}")
        if len(names) > 2 or len(set(names)) < len(names) or (len(names) > 1 and NO_PAIR & set(names)):
            raise UsageError(f"{'+'.join(names)}: only two different escape paths of the engine make a pair")
    return wish.paths or tuple((p,) for p in CALLABLE)


def _files(folder: Path | None) -> tuple[Path, ...]:
    if folder is None:
        return ()
    found = tuple(sorted(p for p in folder.glob("*") if p.suffix.lower() in SOUND_FILES))
    if not found:
        raise LabError(f"{folder}: holds no sound files ({' '.join(SOUND_FILES)}); give a folder of backgrounds")
    return found


def draw_rounds(wish: MakeWish) -> list[tuple[RoundSpec, Lesson]]:
    """Draw the rounds of a drill, each truth by itself: what came before tells nothing of what comes.

    Raises UsageError: a wish that cannot be met. LabError: no backgrounds there. RoundError: a background too short
    for clips."""
    truths, files = _check(wish), _files(wish.backgrounds)
    rng = np.random.default_rng(wish.seed)
    made = []
    cycles = max(LEAST_CYCLES, round(2.0 * wish.seconds / SWITCHED_PERIOD_S))
    for _ in range(wish.rounds):
        paths = truths[int(rng.integers(len(truths)))]
        # Drawn whether or not the truth needs it, so that one round's truth moves no other round.
        hiss, blow_by, peak = (float(rng.uniform(*range_db)) for range_db in (wish.hiss_db, BLOW_BY_DB, (6.0, 18.0)))
        wet = bubbling(BUBBLES_PER_S, peak) if PathId.COOLANT_PASSAGE in paths else None
        lesson = Lesson(paths, hiss, blow_by, shop="", change=wet)
        background = recorded(rng, files) if files else None
        spec = spec_of(rng, lesson, token_hex(4), background, wish.seconds, WALK)
        made.append((switched(rng, spec, cycles) if wish.switched else spec, lesson))
    return made


def make_drill(
    title: str, wish: MakeWish, file: Path | None = None, *, root: Path, progress: Callable[[int], None] | None = None
) -> DrillSet:
    """Draw and write a drill, sealed with the lab's key; its file follows from the title where none is given.

    Raises UsageError: a wish that cannot be met, or no title. LabError: no backgrounds there, a file that is there
    already, or the disk. RoundError: a background too short for clips."""
    title = " ".join(title.encode("utf-8", "replace").decode().split())
    if not title:
        raise UsageError("a drill needs a title, such as 'Faint ones'")
    made = draw_rounds(wish)
    how = ", the air switched on and off" if wish.switched else ""
    low_db, high_db = wish.hiss_db
    about = f"{counted(wish.rounds, 'simulated round')}{how}, hiss {low_db:g} to {high_db:g} dB about the background."
    shortest = min(take.seconds for spec, _ in made for p in spec.points for take in p.takes)
    if shortest < wish.seconds:
        about += f" Clips are cut to as little as {shortest:g} s: the backgrounds hold no more."
    # Of a title no letter of which can stand in a file's name the hash tells drills apart.
    name = plain_name(title) or f"drill-{sha256(title.encode()).hexdigest()[:6]}"
    drill = DrillSet(id=name, title=title, about=about, simulated=True, generator=GENERATOR, rounds=len(made))
    to = file or drills_dir(root) / f"{drill.id}{SUFFIX}"
    rounds = [partial(held_of, spec, lesson) for spec, lesson in made]
    return write_drill(drill, rounds, to, lab_key(root, make=True), progress)
