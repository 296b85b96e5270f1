"""What the readings say of each set of causes: log likelihoods, broad because testers and engines differ.

A loss is brought to one effective hole through restrictor and supply before it is compared with anything: 9 % behind a
1.0 mm restrictor is about 67 % behind one of 0.5 mm.
"""

import math
from collections.abc import Callable
from functools import cache
from statistics import fmean

import numpy as np
from numpy.typing import NDArray

from listen.judge.assumptions import Assumptions
from listen.judge.evidence import Bubbles, Readings, RoundEvidence
from listen.judge.result import TOP_FOUND_AGAIN, ShopSeen
from listen.judge.shop import shop_hole
from listen.trade.points import PathId, PathRow, path_table
from listen.trade.restrictor import HELD_PERCENT, REFERENCE_MM, SUPPLY_KPA, USUAL_MM, leak_mm

Paths = tuple[PathId, ...]

SUPPLIES_KPA = (50.0, 2000.0)
"""A supply outside these is a slip of the pen and read as the nearer. Judgement."""
FREAK = 0.03
"""Share of readings that say nothing: misread, mistyped, another tester. Bounds what one reading can do. Judgement."""
RESTRICTORS_MM = {0.5: 0.05, 0.7: 0.12, 0.85: 0.13, 1.0: 0.4, 1.2: 0.13, 1.5: 0.12, 2.0: 0.05}
"""Where the restrictor is not stated: bores in use and how common, around the 1.0 mm (0.040 in) of FAA AC 43.13-1B."""
LEAST_PERCENT = 3.0
"""Losses below this at the reference restrictor are taken for it: no gauge of a tester is read that finely.
Judgement."""
HOLE_RANGE_MM = (0.1, 11.0)
"""Bores between which a freak reading may lie anywhere, evenly in its logarithm. Judgement."""
OTHERS_SPREAD = 0.22
"""Spread of the natural log of the hole's bore over one engine's sound cylinders (10 % may be 7 or 14). Judgement."""
OTHERS_SOUND = 0.6
"""How often the middle loss of the other cylinders is that of a sound one, before it is looked at: one or two leak, but
those that leak are read first. Judgement."""

WET_RISE: dict[bool, tuple[float, float]] = {True: (0.22, 0.13), False: (0.05, 0.07)}
"""Relative wet rise with and without ring trouble, mean and spread. Oil volume alone raises the reading by 9-20 % of
itself at a proper dose; a rise of 70 kPa or more beyond that points to rings (TM 10-3930-647-14&P)."""

SEEN: dict[bool, float] = {True: 0.85, False: 0.04}
"""Probability that bubbles are seen with and without a path into the coolant (trapped air, splash). Judgement."""
BASE_RATES_HZ = np.geomspace(0.005, 4.0, 24)
"""Rates of false bubble events from the shop itself. Judgement."""
BUBBLE_RATES_HZ = np.geomspace(0.3, 12.0, 20)
"""Rates of bubbles where air enters the coolant. Judgement."""
NONE_RISE = 0.15
"""How often no bubble reaches the neck, or the microphone, while a clip lasts though air enters the coolant: a shut
thermostat, a pocket that fills first, a loud shop. As often as none is seen (``SEEN``): judgement."""
COUNT_SPREAD = 0.35
"""Relative spread of the shop's own event rate from clip to clip (drips and taps come in spells). Judgement."""
DETECTED_SHARE = 0.6
"""Share of bubbles that stand out enough to be counted. Judgement."""


def loss(paths: Paths, readings: Readings, assumed: Assumptions, shop: ShopSeen | None = None) -> float:
    """Log likelihood of the loss read, per percent."""
    percent = readings.loss_percent
    # Asked only where one was read (`terms`).
    assert percent is not None
    supply = min(max(readings.supply_kpa or SUPPLY_KPA, SUPPLIES_KPA[0]), SUPPLIES_KPA[1])
    bore = readings.restrictor_mm
    bores = {bore: 1.0} if bore is not None and USUAL_MM[0] <= bore <= USUAL_MM[1] else RESTRICTORS_MM
    # A bore that was not stated is summed over, not guessed: the commonest alone would be too sure of the hole.
    total = sum(
        share * _loss_density(paths, percent, bore, supply, readings, assumed, shop) for bore, share in bores.items()
    )
    return math.log(total)


def _hole_of_others(hole: float, assumed: Assumptions) -> tuple[float, float]:
    """Density of the others' middle loss, over the log of its hole, and the odds that a sound cylinder shows it."""
    causes = [row.path for row in path_table().cause]
    # What others lose where they leak is not known by cause: every cause as likely.
    bells = {path: _bell(hole, *_usual_hole((path,), assumed)) for path in causes}
    sound = OTHERS_SOUND * bells.pop(PathId.NONE)
    leaking = (1.0 - OTHERS_SOUND) * ((1.0 - FREAK) * fmean(bells.values()) + FREAK * _freak())
    return sound + leaking, sound / (sound + leaking)


def _freak() -> float:
    low, high = map(math.log, HOLE_RANGE_MM)
    return 1.0 / (high - low)


def _loss_density(
    paths: Paths,
    percent: float,
    bore_mm: float,
    supply_kpa: float,
    readings: Readings,
    assumed: Assumptions,
    shop: ShopSeen | None,
) -> float:
    median, spread = _usual_hole(paths, assumed)
    # A shop's teardowns are counted by single paths; of pairs there are too few.
    if len(paths) == 1:
        median, spread = shop_hole(paths[0], (median, spread), shop)
    hole = max(_log_bore(percent, bore_mm, supply_kpa), _log_bore(LEAST_PERCENT, REFERENCE_MM, SUPPLY_KPA))
    if paths == (PathId.SET_UP,):
        # An open valve is as wide as it likes: a needle at its end says no less for one than a needle near its end.
        hole = min(hole, median)
    density, of_others = _bell(hole, median, spread), 1.0
    if wide := max(_cause(path).wide_open for path in paths):
        open_valve, its_spread = _usual_hole((PathId.SET_UP,), assumed)
        density = (1.0 - wide) * density + wide * _bell(min(hole, open_valve), open_valve, its_spread)
    if readings.loss_others_percent is not None:
        others = _log_bore(readings.loss_others_percent, bore_mm, supply_kpa)
        of_others, sound = _hole_of_others(others, assumed)
        if paths == (PathId.NONE,):
            # Less than the sound cylinders lose speaks for sound as much as the same does. Where the others leak as
            # well they say nothing of what is usual: a cylinder that loses 90 % is not sound beside one of 80 %.
            density = sound * _bell(max(hole, others), others, OTHERS_SPREAD) + (1.0 - sound) * density
    # By the slope there a density over holes becomes one over percents; the step keeps within 0 to 100.
    step = 0.02 * min(percent, 100.0 - percent) + 0.01
    ends = [min(max(percent + d, HELD_PERCENT[0]), HELD_PERCENT[1]) for d in (-step, step)]
    holes = [_log_bore(end, bore_mm, supply_kpa) for end in ends]
    slope = (holes[1] - holes[0]) / (ends[1] - ends[0]) if ends[1] > ends[0] else 1.0
    return of_others * ((1.0 - FREAK) * density + FREAK * _freak()) * slope


@cache
def _cause(path: PathId) -> PathRow:
    return next(row for row in path_table().cause if row.path == path)


@cache
def _usual_hole(paths: Paths, assumed: Assumptions) -> tuple[float, float]:
    """Median and spread of the natural log of the effective hole under a set of causes."""
    table = path_table()
    row = _cause(paths[0])
    pair = len(paths) > 1
    median = table.pair_loss_median if pair else row.loss_median
    if paths == (PathId.NONE,):
        median *= assumed.normal_loss
    up = math.exp(table.pair_loss_spread if pair else row.loss_spread)
    low, mid, high = (_log_bore(x, REFERENCE_MM, SUPPLY_KPA) for x in (median / up, median, median * up))
    return mid, 0.5 * (high - low)


@cache
def _log_bore(percent: float, bore_mm: float, supply_kpa: float) -> float:
    """Natural log of the bore of the one hole that loses so much."""
    return math.log(leak_mm(min(max(percent, HELD_PERCENT[0]), HELD_PERCENT[1]), bore_mm, supply_kpa))


def _bell(x: float, mean: float, spread: float) -> float:
    return math.exp(-0.5 * ((x - mean) / spread) ** 2) / (spread * math.sqrt(2.0 * math.pi))


def compression(paths: Paths, dry_kpa: float, wet_kpa: float) -> float:
    """Log likelihood of the wet rise."""
    mean, spread = WET_RISE[PathId.RINGS in paths]
    density = _bell(wet_kpa / dry_kpa - 1.0, mean, spread)
    # A freak's rise lies anywhere within one reading, evenly.
    return math.log((1.0 - FREAK) * density + FREAK)


def bubbles_seen(paths: Paths, seen: bool) -> float:
    """Log likelihood of the answer to "bubbles seen?"."""
    p = SEEN[PathId.COOLANT_PASSAGE in paths]
    return math.log(p if seen else 1.0 - p)


def bubbles_heard(paths: Paths, counts: Bubbles) -> float:
    """Log likelihood of the two bubble counts, up to a constant that is the same for all sets.

    Both counts are Poisson with an unknown common rate, the one with air on with bubbles on top where a path leads
    into the coolant; rates are summed over, and wander by ``COUNT_SPREAD`` between clips (negative binomial). A share
    ``FREAK`` of the air clips holds something else that comes in clicks: a ratchet, a tool, a tap.
    """
    bubbles = BUBBLE_RATES_HZ * DETECTED_SHARE
    extra = bubbles if PathId.COOLANT_PASSAGE in paths else np.zeros(1)
    # A freak brings events at the rates of bubbles whatever the cause: a ratchet alone then proves no leak.
    told, freak = math.log(1.0 - FREAK) + _both(counts, extra), math.log(FREAK) + _both(counts, bubbles)
    if PathId.COOLANT_PASSAGE in paths:
        told = np.logaddexp(math.log(1.0 - NONE_RISE) + told, math.log(NONE_RISE) + _both(counts, np.zeros(1)))
    return float(np.logaddexp(told, freak))


def _both(counts: Bubbles, extra: NDArray[np.float64]) -> float:
    """Log likelihood of both counts, where the air brings events at one of the rates ``extra``, Hz."""
    quiet = _log_count(counts.quiet, BASE_RATES_HZ * counts.quiet_s)
    air = _log_count(counts.air, (BASE_RATES_HZ[:, None] + extra) * counts.air_s)
    total = quiet[:, None] + air
    return float(np.logaddexp.reduce(total.ravel()) - math.log(total.size))


def _log_count(n: int, mean: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log negative binomial of ``n`` with the given mean and relative spread ``COUNT_SPREAD``, without its n!."""
    # A Poisson mixed over a gamma of this shape, which has that relative spread.
    k = 1.0 / COUNT_SPREAD**2
    rising = math.lgamma(n + k) - math.lgamma(k)
    return np.asarray(rising + k * np.log(k / (k + mean)) + n * np.log(mean / (k + mean)))


WHISTLES: dict[bool, float] = {True: 0.1, False: 0.03}
"""Probability that a whistle is loudest at a point: one whose own path leaks, another (a tool, an edge). Judgement."""


def whistle(paths: Paths, own: tuple[PathId, ...]) -> float:
    """Log likelihood that a whistle that comes with the air is loudest at a point with these own paths."""
    if paths == (PathId.SET_UP,):
        paths = (PathId.INTAKE_VALVE, PathId.EXHAUST_VALVE)
    return math.log(WHISTLES[any(p in own for p in paths)])


SHUT: dict[bool, float] = {True: 0.5, False: 0.02}
"""Probability that air is heard with the cylinder side shut off: half of leaking fittings lie before the shut-off,
else only a sound from elsewhere does it. Judgement."""


def shut(paths: Paths, heard: bool) -> float:
    """Log likelihood that air is heard, or not, with the cylinder side shut off."""
    p = SHUT[paths == (PathId.FITTING,)]
    return math.log(p if heard else 1.0 - p)


STAYS: dict[bool, float] = {True: 0.1, False: 0.9}
"""Probability that the loss stays as it was once the crank was turned over and top dead centre on compression was found
anew: with a piston that had been off it, which takes the same mistake twice (the other stroke, a mark or pointer that
is off), and with any other cause, where it moves only if the tester repeats badly. Judgement."""


def top_found_again(paths: Paths) -> float:
    """Log likelihood (natural units) that the loss stays as it was, top dead centre found anew."""
    return math.log(STAYS[paths == (PathId.SET_UP,)])


BUBBLES_HEARD = "bubbles-heard"
"""Name of the reading that compares the walk's own clips with air and without."""


def terms(evidence: RoundEvidence, assumed: Assumptions) -> list[tuple[str, Callable[[Paths], float]]]:
    """Named functions of a set of causes, one a reading that was given."""
    readings, counts = evidence.readings, evidence.bubbles
    out: list[tuple[str, Callable[[Paths], float]]] = []
    if evidence.shut_heard is not None:
        # A name of its own: inside a lambda mypy knows no more that it is not None.
        heard = evidence.shut_heard
        out.append(("shut", lambda paths: shut(paths, heard)))
    sings = [p for p in evidence.points if p.whistle_db is not None]
    if sings:
        # Of several, each at a point of its own, the loudest.
        own = max(sings, key=lambda p: p.whistle_db or 0.0).point.row.own
        out.append(("whistle", lambda paths: whistle(paths, own)))
    if counts is not None and counts.air_s and counts.quiet_s:
        # Worked out once for all sets: they differ only in whether air goes into the coolant.
        into, not_into = (bubbles_heard((path,), counts) for path in (PathId.COOLANT_PASSAGE, PathId.NONE))
        out.append((BUBBLES_HEARD, lambda paths: into if PathId.COOLANT_PASSAGE in paths else not_into))
    if readings.bubbles_seen is not None:
        seen = readings.bubbles_seen
        out.append(("bubbles-seen", lambda paths: bubbles_seen(paths, seen)))
    # Where it did not stay, the loss that was read then says so: that is no fact of its own.
    if readings.top_found_again:
        out.append((TOP_FOUND_AGAIN, top_found_again))
    if readings.loss_percent is not None:
        out.append(("loss", lambda paths: loss(paths, readings, assumed, evidence.shop)))
    dry, wet = readings.compression_dry_kpa, readings.compression_wet_kpa
    if dry is not None and wet is not None:
        out.append(("compression", lambda paths: compression(paths, dry, wet)))
    return out
