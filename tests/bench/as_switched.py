"""A drawn round as it is when the air is switched at each point instead of walked."""

from msgspec.structs import replace

from listen.lab.simulator.scene import PointSpec, RoundSpec, Switched, TakeSpec
from listen.lab.simulator.switching_hand import Spans
from listen.trade.points import Kind


def as_switched(spec: RoundSpec, commanded: Spans, how: dict[str, Switched]) -> RoundSpec:
    """The same round, each point taken by one switched take, the sound cylinder's too; ``how`` by point.

    What happened to the shop from walk to walk is gone with the walks, what it does within a take stands in ``how``;
    what else sounded in a point's air clip sounds for the same share of its switched take.
    """
    seconds = commanded[-1][1] + commanded[0][0]
    return replace(spec, points=tuple(_switched(p, seconds, how[p.point]) for p in spec.points))


SWITCHED_AS = {Kind.AIR: Kind.SWITCHED, Kind.SOUND: Kind.SWITCHED_SOUND}


def _switched(point: PointSpec, seconds: float, how: Switched) -> PointSpec:
    first = {t.kind: t for t in reversed(point.takes) if t.kind in SWITCHED_AS}
    takes = (
        TakeSpec(kind=SWITCHED_AS[kind], order=1, seconds=seconds, switched=how, also=t.also)
        for kind, t in sorted(first.items())
    )
    return replace(point, takes=tuple(takes))
