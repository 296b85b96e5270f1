"""The ear threshold: which of four clips holds the hiss, over one background, down to where it is lost."""

import secrets
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import numpy as np

from listen.errors import LabError
from listen.lab.ear.adaptive import INTERVALS, EarRun, Threshold
from listen.lab.learners import Learner, append_record, learner_dir, read_records
from listen.lab.simulator.curves import add
from listen.lab.simulator.render import render
from listen.lab.simulator.scene import Background, Hiss, Microphone, PointSpec, RoundSpec, TakeSpec, Truth
from listen.lab.simulator.shops import shop_parts, shops
from listen.lab.simulator.worlds.sounds import duct, usual
from listen.rounds.evaluate import judge_points
from listen.rounds.model import Facts
from listen.signal.clip import Clip
from listen.signal.point import measure_point
from listen.trade.points import Kind

FILE = "thresholds.jsonl"
TRIAL_S = 1.0
POINT = "intake"
LEVEL_DBFS = -40.0
SELF_NOISE_DB = -30.0
WALK_S = 4.0
"""Clip length of an ordinary walk, for the meter's limit there."""


class Measured(msgspec.Struct, frozen=True, kw_only=True):
    background: str
    seed: int
    time: str
    threshold: Threshold
    meter_same_db: float | None = None
    """The meter's detection limit on two clips as long as those heard, as hiss about the background."""
    meter_walk_db: float | None = None
    """The same on an ordinary walk: quiet, air, quiet of 4 s."""
    headphones: bool | None = None
    """Whether the headphone check of that sitting was passed; ``None`` where it was left out."""


@dataclass(frozen=True, slots=True, eq=False)
class TrialClips:
    """What is played in one trial: clips, one of which holds the hiss."""

    clips: tuple[Clip, ...]
    hiss_in: int
    level_db: float
    number: int


def backgrounds() -> tuple[str, ...]:
    """Names of the synthetic shops to choose from."""
    return tuple(sorted(name for named in shops().values() for name in named))


def background(name: str, seed: int) -> Background:
    """The background of a run. Raises LabError: no known shop."""
    if name not in backgrounds():
        raise LabError(f"no background {name!r}; known: {', '.join(backgrounds())}")
    return Background(name=name, parts=shop_parts(np.random.default_rng([seed, 1]), name), level_dbfs=LEVEL_DBFS)


def scene(at: Background, seed: int, kinds: tuple[Kind, ...], level_db: float, seconds: float, trial: int) -> RoundSpec:
    """A jet over a background: the same jet for a whole run, fresh noise for every trial."""
    rng = np.random.default_rng([seed, 2])
    jet = add(usual(rng, "intake-valve").shape, duct(rng, POINT))
    takes = (TakeSpec(kind=k, order=kinds[: n + 1].count(k), seconds=seconds) for n, k in enumerate(kinds))
    hiss = Hiss(source="intake-valve", level_db=round(level_db, 3), curve=jet)
    return RoundSpec(
        name=f"threshold trial {trial}",
        # Runs have far fewer trials: no noise is heard in two.
        seed=seed * 1000 + trial,
        truth=Truth(),
        background=at,
        microphone=Microphone(self_noise_db=SELF_NOISE_DB),
        points=(PointSpec(point=POINT, takes=tuple(takes), air=(hiss,)),),
    )


def meter_limit_db(at: Background, seed: int, kinds: tuple[Kind, ...], seconds: float) -> float | None:
    """The meter's detection limit in such clips, as hiss about the background; None where it has none to give."""
    clips = render(scene(at, seed, kinds, 0.0, seconds, 0))
    takes = measure_point(POINT, [(kind, clip) for (_, kind, _), clip in clips.items()])
    excess_db = judge_points("threshold", [takes], Facts()).points[0].detection_limit_db
    if excess_db is None or excess_db <= 0:
        return None
    # An excess is hiss and background over background: of the hiss alone one is taken off.
    return round(float(10 * np.log10(10 ** (excess_db / 10) - 1)), 2)


class ThresholdRun:
    """One run of a learner over one background; kept on disk once it is done."""

    def __init__(
        self, root: Path, learner: Learner, at: str, seed: int | None = None, headphones: bool | None = None
    ) -> None:
        self._path, self._name, self._headphones = learner_dir(root, learner) / FILE, at, headphones
        self.seed = secrets.randbelow(2**31) if seed is None else seed
        self._background = background(at, self.seed)
        self._order = np.random.default_rng([self.seed, 3])
        self._run = EarRun()
        self._clips: TrialClips | None = None
        self.measured: Measured | None = None

    @property
    def done(self) -> bool:
        return self.measured is not None

    @property
    def number(self) -> int:
        return len(self._run.trials) + 1

    def trial(self) -> TrialClips:
        """The trial in hand; the same until answered. Raises LabError: the run is over."""
        if self.done:
            raise LabError("this run is over; start another")
        if self._clips is None:
            level = self._run.level_db
            kinds = (*[Kind.QUIET] * (INTERVALS - 1), Kind.AIR)
            clips = list(render(scene(self._background, self.seed, kinds, level, TRIAL_S, self.number)).values())
            hiss_in = int(self._order.integers(1, INTERVALS + 1))
            # Made last, put where chance says: the order in which they are rendered tells nothing.
            clips.insert(hiss_in - 1, clips.pop())
            self._clips = TrialClips(tuple(clips), hiss_in, level, self.number)
        return self._clips

    def answer(self, interval: int) -> bool:
        """Take the learner's choice, counted from 1, and say whether it was right.

        Raises LabError: another number, or the run is over."""
        if not 1 <= interval <= INTERVALS:
            raise LabError(f"interval {interval}; answer 1 to {INTERVALS}")
        trial = self.trial()
        right = trial.hiss_in == interval
        self._run = self._run.answered(trial.level_db, right)
        self._clips = None
        if self._run.done:
            self._keep()
        return right

    def _keep(self) -> None:
        measured = Measured(
            background=self._name,
            seed=self.seed,
            time=datetime.now(UTC).isoformat(timespec="seconds"),
            threshold=self._run.result(),
            meter_same_db=meter_limit_db(self._background, self.seed, (Kind.QUIET, Kind.AIR), TRIAL_S),
            meter_walk_db=meter_limit_db(self._background, self.seed, (Kind.QUIET, Kind.AIR, Kind.QUIET), WALK_S),
            headphones=self._headphones,
        )
        append_record(self._path, measured)
        self.measured = measured


def thresholds_of(root: Path, learner: Learner) -> tuple[Measured, ...]:
    return tuple(read_records(learner_dir(root, learner) / FILE, Measured))
