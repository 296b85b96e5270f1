"""Small stated rounds for the tests of the lab."""

from __future__ import annotations

from listen.lab.simulator.curves import FLAT, OCTAVES, curve
from listen.lab.simulator.scene import Background, Hiss, Microphone, Part, PointSpec, RoundSpec, TakeSpec, Truth
from listen.trade.points import Kind

RUMBLE = curve(-6.0 * OCTAVES)


def steady(level_db: float = 0.0, shape: tuple[float, ...] = RUMBLE) -> Background:
    """A shop that never changes."""
    return Background(name="steady", parts=(Part(kind="noise", level_db=level_db, curve=shape),))


def takes(*kinds: Kind, seconds: float = 1.0) -> tuple[TakeSpec, ...]:
    """Takes without drift."""
    counts = dict.fromkeys(Kind, 0)
    made = []
    for kind in kinds:
        counts[kind] += 1
        made.append(TakeSpec(kind=kind, order=counts[kind], seconds=seconds))
    return tuple(made)


def one_point(hiss_db: float, *, seed: int = 5, shape: tuple[float, ...] = FLAT, seconds: float = 2.0) -> RoundSpec:
    """Quiet, air, quiet at the intake with one hiss."""
    return RoundSpec(
        name="one point",
        seed=seed,
        truth=Truth(),
        background=steady(),
        microphone=Microphone(self_noise_db=-30.0),
        points=(
            PointSpec(
                point="intake",
                takes=takes(Kind.QUIET, Kind.AIR, Kind.QUIET, seconds=seconds),
                air=(Hiss(source="intake-valve", level_db=hiss_db, curve=shape),),
            ),
        ),
    )
