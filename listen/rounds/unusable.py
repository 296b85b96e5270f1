"""A round of which no clip can be used: the reason and what to do, in place of odds that rest on nothing heard."""

from collections.abc import Sequence

from listen.audio.files import channels_with_sound
from listen.errors import ClipError
from listen.judge.result import Verdict
from listen.rounds.model import Round
from listen.signal.point import PointTakes
from listen.trade.points import Kind


def nothing_usable(points: Sequence[PointTakes]) -> bool:
    """Whether no point has a quiet and an air clip left that may be compared."""
    return all(p.contrast(Kind.AIR) is None for p in points)


def said_of_nothing(points: Sequence[PointTakes]) -> Verdict:
    """What is said then: the commonest reason, and its advice."""
    told = [f for p in points for f in p.flags if f.reject]
    if not told:
        why, then = "no point has a quiet and an air clip that can be compared", "record both at each point again"
    else:
        flags = [f.flag for f in told]
        flag = max(told, key=lambda f: flags.count(f.flag))
        why, _, then = flag.text.removesuffix(".").rpartition("; ")
        why, then = (why, then) if why else (then, "record this round again")
        clips = "1 clip" if flags.count(flag.flag) == 1 else f"{flags.count(flag.flag)} clips"
        why = f"{clips}: {why[:1].lower()}{why[1:]}"
    text = f"Cannot tell: none of the clips can be used ({why})."
    return Verdict(kind="unclear", paths=(), probability=0.0, text=text, next=f"{then[:1].upper()}{then[1:]}.")


def channel_with_sound(round_: Round, channel: int) -> int | None:
    """Another channel, in which the files that have it are not silent; ``None`` where there is none."""
    files = dict.fromkeys(t.path for t in round_.takes if t.channel is None)
    heard: set[int] | None = None
    for path in files:
        try:
            sounding = channels_with_sound(path)
        except ClipError:
            continue
        heard = {*sounding} if heard is None else heard & {*sounding}
    return min((heard or set()) - {channel}, default=None)
