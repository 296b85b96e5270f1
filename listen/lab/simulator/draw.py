"""Random rounds for benches and drills, from one of two populations that share no shape, shop, microphone or seed;
readings are broad and overlap."""

from dataclasses import dataclass
from pathlib import Path

import msgspec
import numpy as np

from listen.errors import RoundError, UsageError
from listen.lab.simulator.background import file_seconds
from listen.lab.simulator.families import POPULATIONS, drift_curve, microphone
from listen.lab.simulator.hearing import heard_at
from listen.lab.simulator.scene import Background, Cause, PointSpec, RoundSpec, SimFacts, TakeSpec, Truth
from listen.lab.simulator.shops import recorded, recorded_leaks, recorded_shape, recordings, shop
from listen.trade.points import Kind, PathId, point

HISS_DB = (-10.0, 18.0)
BLOW_BY_DB = (-16.0, 1.0)
SET_UP_DB = (0.0, 18.0)
BUBBLES_PER_S = (1.0, 12.0)
TAKE_S = (2.5, 5.0)
DRIFT_DB = (0.0, 0.5)
"""Ranges drawn from, uniformly (bubbles: log-uniformly)."""
SHORTEST_TAKE_S = 0.5
"""A short recording makes no shorter clips: in less, too few stretches are left to measure their spread."""
TRUTHS = {"none": 0.25, "single": 0.47, "pair": 0.12, "fitting": 0.08, "set-up": 0.08}
ORDERS = ((1, 3, 4, 2), (1, 2, 4, 3), (1, 3, 2), (1, 5, 3, 6, 2, 4))
"""Firing orders of the inline engines drawn."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """What a caller may fix; None is drawn."""

    paths: tuple[PathId, ...] | None = None
    """Truth; ``(none,)`` is sound."""
    hiss_db: tuple[float, float] = HISS_DB
    points: tuple[str, ...] | None = None
    background: Background | None = None
    seconds: tuple[float, float] = TAKE_S
    takes: tuple[Kind, ...] | None = None
    """Order of the takes at each point."""
    rate_hz: int | None = None
    blow_by_db: float | None = None
    drift_db: float | None = None
    cylinder: int | None = None
    firing_order: tuple[int, ...] | None = None


def _paths(rng: np.random.Generator, points: tuple[str, ...]) -> tuple[PathId, ...]:
    kind = rng.choice(list(TRUTHS), p=list(TRUTHS.values()))
    if kind in ("none", "fitting", "set-up"):
        return (PathId(kind),)
    own = sorted({path for p in points for path in point(p).row.own})
    chosen = rng.choice(own, size=min(2 if kind == "pair" else 1, len(own)), replace=False)
    return tuple(sorted(PathId(p) for p in chosen))


def _points(rng: np.random.Generator, cylinder: int, last: int) -> tuple[str, ...]:
    points = ["intake", "tailpipe", "oil-filler"]
    if rng.random() < 0.7:
        points.append("radiator")
    if rng.random() < 0.4:
        neighbours = [n for n in (cylinder - 1, cylinder + 1) if 1 <= n <= last]
        points.append(f"plug-hole-{int(rng.choice(neighbours))}")
    return tuple(points)


def _truth(rng: np.random.Generator, paths: tuple[PathId, ...], hiss_db: tuple[float, float]) -> Truth:
    levels = [float(rng.uniform(*hiss_db)) for _ in paths]
    if PathId.SET_UP in paths:
        levels = [float(rng.uniform(*SET_UP_DB))]
    causes = tuple(Cause(p, round(v, 2)) for p, v in zip(paths, levels, strict=True) if p != PathId.NONE)
    rate = float(np.exp(rng.uniform(*np.log(BUBBLES_PER_S)))) if PathId.COOLANT_PASSAGE in paths else 0.0
    return Truth(causes=causes, blow_by_db=round(float(rng.uniform(*BLOW_BY_DB)), 2), bubbles_per_s=round(rate, 2))


def take_kinds(rng: np.random.Generator, bracket: float, one_quiet: float, two_airs: float) -> list[Kind]:
    """The takes at a point in order, by the share of rounds walked in each of three ways."""
    how = rng.choice(["bracket", "one quiet", "two airs"], p=[bracket, one_quiet, two_airs])
    kinds = [Kind.QUIET, Kind.AIR]
    if how == "two airs":
        kinds += [Kind.QUIET, Kind.AIR]
    if how != "one quiet":
        kinds.append(Kind.QUIET)
    return kinds


def _seconds(rng: np.random.Generator, wishes: Wishes, background: Background, count: int, rate_hz: int) -> float:
    seconds = float(rng.uniform(*wishes.seconds))
    if background.file:
        # A short recording makes shorter clips: no sample serves twice at one point.
        whole_s = file_seconds(background.file, rate_hz)
        if whole_s < count * SHORTEST_TAKE_S:
            raise RoundError(
                f"{background.file}: {whole_s:.2f} s long; {count} clips at each point need "
                f"{count * SHORTEST_TAKE_S:g} s at least, give a longer recording"
            )
        seconds = min(seconds, whole_s / count)
    return int(seconds * 10) / 10


def _takes(rng: np.random.Generator, kinds: tuple[Kind, ...], seconds: float, drift_db: float) -> tuple[TakeSpec, ...]:
    takes, counts = [], dict.fromkeys(Kind, 0)
    for kind in kinds:
        counts[kind] += 1
        drift = round(float(rng.normal(0, drift_db)), 3)
        shape = drift_curve(rng, 0.4 * drift_db)
        takes.append(TakeSpec(kind=kind, order=counts[kind], seconds=seconds, drift_db=drift, drift_curve=shape))
    return tuple(takes)


def draw(
    rng: np.random.Generator,
    population: str,
    *,
    backgrounds: Path | None = None,
    leaks: Path | None = None,
    sound_clips: bool = False,
    wishes: Wishes | None = None,
    name: str = "",
) -> RoundSpec:
    """Draw one round.

    Parameters
    ----------
    rng
        Source of all choices.
    population
        ``tune`` or ``report``; they share no leak shape, duct, microphone, shop, recording or seed.
    backgrounds
        Folder of ``background-*.flac`` to use instead of the synthetic shops, split by
        :mod:`listen.lab.simulator.shops`.
    leaks
        Folder of ``hiss-*.flac`` whose spectra half of the leaks take, split by :mod:`listen.lab.simulator.shops`.
    sound_clips
        Whether a sound cylinder was recorded at the same points.
    wishes
        What to fix instead of drawing.

    Raises
    ------
    UsageError
        Unknown population.
    RoundError
        No recordings for this population in the folder, or one too short for clips.
    """
    if population not in POPULATIONS:
        raise UsageError(f"unknown population {population!r}; known: {' '.join(POPULATIONS)}")
    wishes = wishes or Wishes()
    seed = int(rng.integers(2**46)) * 2 + POPULATIONS.index(population)
    order, cylinder, points = _engine(rng, wishes)
    truth = _wished_truth(rng, points, wishes)
    background = recorded(rng, recordings(backgrounds, population)) if backgrounds else shop(rng, population)
    background = wishes.background or background
    rate_hz = wishes.rate_hz or (44_100 if rng.random() < 0.2 else 48_000)
    kinds = wishes.takes or (*[Kind.SOUND] * sound_clips, *take_kinds(rng, 0.75, 0.1, 0.15))
    seconds = _seconds(rng, wishes, background, len(kinds), rate_hz)
    drift_db = float(rng.uniform(*DRIFT_DB)) if wishes.drift_db is None else wishes.drift_db
    recorded_spectra = tuple(map(recorded_shape, recorded_leaks(leaks, population))) if leaks else ()
    air, sound, bubbles, offsets = heard_at(rng, population, truth, points, cylinder, order, recorded_spectra)
    return RoundSpec(
        name=name or f"{population}-{seed:014x}",
        seed=seed,
        population=population,
        truth=truth,
        rate_hz=rate_hz,
        background=background,
        microphone=microphone(rng, population),
        facts=readings(rng, truth.paths, cylinder=cylinder, firing_order=order, radiator="radiator" in points),
        points=tuple(
            PointSpec(
                point=p,
                takes=_takes(rng, kinds, seconds, drift_db),
                offset_db=offsets[p],
                air=air[p],
                sound=sound[p],
                bubbles=bubbles.get(p),
            )
            for p in points
        ),
    )


def _engine(rng: np.random.Generator, wishes: Wishes) -> tuple[tuple[int, ...], int, tuple[str, ...]]:
    drawn = ORDERS[int(rng.integers(len(ORDERS)))]
    order = wishes.firing_order or drawn
    cylinder = wishes.cylinder or int(rng.integers(1, len(order) + 1))
    points = _points(rng, cylinder, len(order))
    return order, cylinder, wishes.points or points


def _wished_truth(rng: np.random.Generator, points: tuple[str, ...], wishes: Wishes) -> Truth:
    paths = _paths(rng, points)
    truth = _truth(rng, wishes.paths or paths, wishes.hiss_db)
    if wishes.blow_by_db is None:
        return truth
    return msgspec.structs.replace(truth, blow_by_db=wishes.blow_by_db)


LOSS: dict[str, tuple[float, float]] = {
    "none": (7.0, 0.50),
    "single": (27.0, 0.50),
    "coolant-passage": (19.0, 0.60),
    "fitting": (20.0, 0.60),
    "pair": (38.0, 0.45),
    "set-up": (91.0, 0.06),
}
"""Median (percent) and log standard deviation of the loss reading by cause; a reading means little across testers."""
LOSS_CEILING = 100.0
WET_RISE = {"rings": (0.10, 0.35), "other": (0.0, 0.07)}
"""Share by which oil lifts the compression reading."""


def _cause(paths: tuple[PathId, ...]) -> str:
    if len(paths) > 1:
        return "pair"
    return str(paths[0]) if str(paths[0]) in LOSS else "single"


def _loss(rng: np.random.Generator, cause: str) -> float:
    median, sd = LOSS[cause]
    return round(min(LOSS_CEILING, float(median * np.exp(rng.normal(0, sd)))), 1)


def _compression(rng: np.random.Generator, paths: tuple[PathId, ...]) -> tuple[float, float]:
    leaking = any(p not in (PathId.NONE, PathId.FITTING, PathId.SET_UP) for p in paths)
    dry = rng.uniform(1050, 1350) * (rng.uniform(0.55, 0.95) if leaking else rng.uniform(0.93, 1.03))
    rise = rng.uniform(*WET_RISE["rings" if PathId.RINGS in paths else "other"])
    return round(float(dry), -1), round(float(dry * (1 + rise)), -1)


def readings(
    rng: np.random.Generator,
    paths: tuple[PathId, ...],
    *,
    cylinder: int | None = None,
    firing_order: tuple[int, ...] | None = None,
    radiator: bool = False,
) -> SimFacts:
    bubbling = PathId.COOLANT_PASSAGE in paths
    looked = radiator and rng.random() < 0.3
    seen = bool(rng.random() < (0.95 if bubbling else 0.03))
    dry, wet = _compression(rng, paths)
    measured = rng.random() < 0.2
    return SimFacts(
        loss_percent=_loss(rng, _cause(paths)) if rng.random() < 0.95 else None,
        supply_kpa=float(rng.choice([480.0, 550.0, 620.0, 690.0])),
        restrictor_mm=1.0 if rng.random() < 0.6 else None,
        cylinder=cylinder,
        firing_order=firing_order,
        bubbles_seen=seen if looked else None,
        compression_dry_kpa=dry if measured else None,
        compression_wet_kpa=wet if measured else None,
    )
