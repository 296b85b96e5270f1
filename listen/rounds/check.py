"""A clip checked right after it was taken: whether it is kept, or to be taken again and why; its excess over quiet."""

from pathlib import Path

import msgspec

from listen.audio.files import read_clip
from listen.errors import RoundError
from listen.rounds.describe import DIGITS
from listen.rounds.model import Take
from listen.rounds.switching import switchings
from listen.rounds.weigh import measure_alone, round_drift
from listen.signal.flags import Flag
from listen.signal.point import measure_point
from listen.trade.points import Kind

Spans = tuple[tuple[float, float], ...]
"""When air was commanded on and off, seconds."""


class ClipCheck(msgspec.Struct, frozen=True, kw_only=True):
    """What was found in one clip."""

    kept: bool
    """False where the number must not be believed and the clip is to be taken again."""
    flags: tuple[Flag, ...]
    excess_db: float | None
    """Over the quiet clip, where one was given."""
    seconds: float


def check_take(path: Path, at: str, quiet: Path | None = None, on_s: Spans = ()) -> ClipCheck:
    """Check a clip of the point ``at`` from its file, against a quiet clip of the same point where there is one.

    ``on_s`` says when the air was commanded on and off in a switched take; its own halves are then set against each
    other.

    Raises ClipError: a file that cannot be read or measured."""
    if on_s:
        return _check_switched(Take(at, Kind.SWITCHED, 1, path, on_s=on_s))
    clip = read_clip(path)
    # As an air clip whichever it is: the checks of one clip do not ask for its kind, and nothing is set against
    # anything here.
    alone = measure_point(at, [(Kind.AIR, clip)])
    if quiet is None:
        return _check(alone.flags, None, clip.seconds)
    try:
        pair = measure_point(at, [(Kind.QUIET, read_clip(quiet)), (Kind.AIR, clip)])
    except RoundError as e:
        flag = Flag(flag="other-rate", value=clip.rate_hz, limit=0.0, text=f"{e}.", reject=True)
        # Told, not raised: two clips of two rates are something to be recorded again.
        return _check((*alone.flags, flag), None, clip.seconds)
    measured = measure_alone(pair, round_drift([pair])).excess
    own = {f.flag for f in alone.flags}
    # What the quiet clip has of its own was told when it was taken: it is no reason to refuse this one.
    theirs = {f.flag for f in measure_point(at, [(Kind.QUIET, read_clip(quiet))]).flags if f.reject}
    flags = alone.flags + tuple(f for f in pair.flags if f.flag not in own | theirs)
    return _check(flags, None if measured is None else round(measured.excess_db, DIGITS), clip.seconds)


def _check_switched(take: Take) -> ClipCheck:
    clip = read_clip(take.path)
    known = switchings([take], 0)[take]
    point = measure_point(take.point, [], [known.of(take, clip)])
    excess = measure_alone(point, round_drift([point])).excess if Kind.AIR in point.locked else None
    return _check(point.flags, None if excess is None else round(excess.excess_db, DIGITS), clip.seconds)


def _check(flags: tuple[Flag, ...], excess_db: float | None, seconds: float) -> ClipCheck:
    return ClipCheck(kept=not any(f.reject for f in flags), flags=flags, excess_db=excess_db, seconds=seconds)
