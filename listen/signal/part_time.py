"""Finds the part of an air clip in which something else sounded (escaping air is steady); the rest is measured."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from listen.signal.flags import Flag

STEP_SIGMA = 6.5
STEP_TIMES = 1.5
"""How clearly a part of an air clip stands out of the rest: standard deviations of chance, and times what a part of a
quiet clip of its point does. Of 320 clean simulated rounds 35 have a part left out; of as many in which something is
blown off beside one air clip it is told in nine of ten."""
STEP_STRETCHES = 3
"""Least stretches inside and outside: a knock and its echoes fill one or two."""
STRETCH_DB = 0.15
"""What a stretch's level strays by in the steadiest shop, standard deviation."""


@dataclass(frozen=True, slots=True)
class Louder:
    """A part of a clip, as shares of its length, in which it was louder."""

    start: float
    end: float
    flag: Flag

    def within(self, frames: int) -> NDArray[np.bool_]:
        """Which of a clip's frames lie in it [shape=(frames,)]."""
        at = np.arange(frames) / frames
        return np.asarray((at >= self.start) & (at < self.end))


def louder_part(air: NDArray[Any], quiets: Sequence[NDArray[Any]]) -> Louder | None:
    """The part of an air clip that something else sounded in, if any.

    ``air`` and ``quiets`` are the courses of the clips of one point (:class:`ClipPrint`) [shape=(J, <=6)].
    """
    bands = min(c.shape[1] for c in (air, *quiets))
    if bands < 2 or not quiets:
        return None
    sigma, limit, rise_db, start, end = _beyond_chance(air[:, :bands], [q[:, :bands] for q in quiets])
    if sigma <= limit:
        return None
    text = (
        f"Within the air clip the hiss is {rise_db:.1f} dB louder for a part of the time, "
        f"{sigma:.0f} times what chance makes of the quiet clips (limit {limit:.0f}). Escaping air is steady: "
        "something else sounded or, seldom, the valve was open for that part alone; only the rest of the clip counts."
    )
    flag = Flag(flag="part-of-the-time", value=sigma, limit=limit, text=text)
    return Louder(start / len(air), end / len(air), flag)


def _beyond_chance(course: NDArray[Any], quiets: Sequence[NDArray[Any]]) -> tuple[float, float, float, int, int]:
    """The clearest rise in an air clip: standard deviations of chance, what would be too many, decibels, and where.

    Chance is what the shop does in the quiet clips, plainly and through a steady hiss as loud as the air clip's own:
    where a hiss fills some bands the others alone rise and fall with the shop, which no quiet clip does. Of 68 rounds
    in shops that rise and fall in all bands at once, 14 were doubted without the latter, 1 with it.
    """
    own = np.mean([q.mean(axis=0) for q in quiets], axis=0)
    hiss = np.maximum(_power(course.mean(axis=0)) - _power(own), 0.0)
    moves = [q - q.mean(axis=0) for q in quiets]
    chance = [*moves, *(10.0 * np.log10(_power(own + move) + hiss) for move in moves)]
    scatter = np.concatenate([c - c.mean(axis=0) for c in chance])
    # Something on the diagonal: few quiet stretches would leave directions that never moved, and infinitely sure ones.
    precision = np.linalg.inv(scatter.T @ scatter / len(scatter) + STRETCH_DB**2 * np.eye(course.shape[1]))
    sigma, rise_db, start, end = _step(course, precision)
    if sigma <= STEP_SIGMA:  # the usual case, and what chance does takes ten times as long
        return sigma, STEP_SIGMA, rise_db, start, end
    limit = max(STEP_SIGMA, STEP_TIMES * max(_step(c, precision)[0] for c in chance))
    return sigma, limit, rise_db, start, end


def _power(level_db: NDArray[Any]) -> NDArray[np.float64]:
    return np.asarray(10.0 ** (level_db / 10.0))


def _step(course_db: NDArray[Any], precision: NDArray[np.float64]) -> tuple[float, float, int, int]:
    """The clearest rise for a part of a clip: standard deviations of chance, decibels where clearest, start and end.

    Every interval's mean level against the rest of the clip [shape=(B,)], weighed by the inverse covariance of the
    bands [shape=(B, B)] (Hotelling's T squared), so that what bands always do together counts little.
    """
    n = len(course_db)
    # Every interval that is long enough inside and leaves enough outside.
    start, end = np.triu_indices(n + 1, STEP_STRETCHES)
    within = (end - start) <= n - STEP_STRETCHES
    start, end = start[within], end[within]
    if not len(start):
        return 0.0, 0.0, 0, 0
    # Running sums: the mean of any interval is then one subtraction.
    so_far = np.concatenate([np.zeros((1, course_db.shape[1])), np.cumsum(course_db, axis=0, dtype=np.float64)])
    length = (end - start)[:, None]
    inside = so_far[end] - so_far[start]
    rise = inside / length - (so_far[-1] - inside) / (n - length)
    pull = rise @ precision
    # Without the band that says most: a tool that is dropped rings in one, what blows is heard in all.
    squares = (pull * rise).sum(axis=1) - (pull**2 / np.diag(precision)).max(axis=1)
    # Rises only: a part that is softer is the shop falling quiet, not something else that sounds.
    squares = np.where(np.median(rise, axis=1) > 0.0, squares * (length * (n - length) / n)[:, 0], 0.0)
    clearest = int(squares.argmax())
    sigma, rise_db = np.sqrt(max(squares[clearest], 0.0)), rise[clearest].max()
    return float(sigma), float(rise_db), int(start[clearest]), int(end[clearest])
