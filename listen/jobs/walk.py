"""What comes next in a round: one table of steps, and the first of them that the job says is still due."""

from collections.abc import Callable, Iterator, Sequence
from typing import Literal

import msgspec
from msgspec.structs import replace

from listen.jobs.decision import asked_step
from listen.jobs.events import SentBack
from listen.jobs.job import ClipRecord, Job, RoundRecord
from listen.jobs.ways import SWITCHED, way_of
from listen.judge.result import TOP_FOUND_AGAIN, Verdict
from listen.trade.cautions import Caution, cautions_for
from listen.trade.cautions import Step as CautionStep
from listen.trade.engine import points_for
from listen.trade.points import Point, point, walking_order
from listen.trade.tables import rows_of

StepKind = Literal["caution", "supply", "loss", "way", "clip", "bubbles", "followed", "call", "verdict", "done"]
State = Literal["done", "due", "left-out"]


class Row(msgspec.Struct, frozen=True):
    """One row of the table of steps."""

    id: str
    kind: StepKind
    sentence: str
    walk: str = ""
    clip_kind: str = ""
    cautions: tuple[CautionStep, ...] = ()
    """Cautions that stand before this step; on the ``caution`` row they are to be acknowledged."""


SET_UP = "set-up"
"""Name under which the cautions of a round are acknowledged, once."""

table = rows_of("steps", "step", Row)
"""The round, in order; of the clips those that the job's way asks for. What is due follows from the job alone."""

HOLD_ALL = "Every microphone at its point; nobody touches one."
EVERY_POINT = "Valve shut. One take of all points that are due: open and shut the valve as the count says."
DONE: dict[StepKind, Callable[[Job, RoundRecord], bool]] = {
    "caution": lambda job, r: SET_UP in r.cautions,
    # An earlier round of the same job has answered for all: the tester stays on the cart.
    "supply": lambda job, r: job.reading("supply") is not None,
    "loss": lambda job, r: job.reading("loss", round_id=r.id) is not None,
    # Whoever has begun without being asked walks.
    "way": lambda job, r: bool(job.way) or any(one.clips or one.skips for one in job.rounds),
    "bubbles": lambda job, r: bool(r.bubbles),
    "followed": lambda job, r: bool(r.air_followed),
    "call": lambda job, r: r.call() is not None,
    "verdict": lambda job, r: r.verdict is not None and not r.stale,
}
"""When a step that is no clip is done."""


class Step(msgspec.Struct, frozen=True, kw_only=True):
    """One step of a round, ready to be shown."""

    id: str
    """Identifier of the table row, for StepPassed and CautionAcknowledged."""
    kind: StepKind
    sentence: str
    point: str = ""
    walk: str = ""
    clip_kind: str = ""
    hold: str = ""
    """Where to hold the microphone."""
    cautions: tuple[Caution, ...] = ()
    state: State = "due"
    why: str = ""
    """Why it was left out."""
    number: int = 0
    """1 for the first step of the round."""
    of: int = 0


class Wish(msgspec.Struct, frozen=True):
    """A step wanted out of turn."""

    point: str
    kind: str = ""
    """Clip kind, or the kind of a step that is no clip; empty: that of the walk that is due, or was begun last."""
    walk: str = ""
    seconds: float = 0.0
    """Length of the clip at least; 0: as usual."""


LONGER_S = 5.0
"""Verdicts of older versions asked for clips of 16 s, quiet, air, quiet: what their sentence says is what is taken.
Those of today say nothing of a length, and give one of no more than this."""


def advised(verdict: Verdict, record: RoundRecord) -> tuple[Wish, ...]:
    """What a verdict advises to record or answer next, step by step; no answer where the round is signed."""
    at, kind = verdict.next_point, verdict.next_kind
    # Asked for where the verdict is shown (`top_again`): no clip and no step is taken for it.
    if kind in ("", TOP_FOUND_AGAIN) or (record.signed and kind in DONE):
        return ()
    # Where the air is switched one take is both.
    if kind in ("quiet", "air") and record.live_clips(at, SWITCHED):
        return (Wish(at, SWITCHED),)
    if kind == "air" and (seconds := verdict.next_seconds) > LONGER_S:
        walks = ("quiet", "quiet"), ("air", "air"), ("quiet", "closing")
        return tuple(Wish(at, k, walk, seconds) for k, walk in walks)
    # Air alone is held against nothing: its quiet clip comes first.
    if kind != "air" or record.live_clips(at, "quiet"):
        return (Wish(at, kind),)
    return Wish(at, "quiet", "quiet"), Wish(at, "air", "air")


def spoiled(verdict: Verdict, record: RoundRecord) -> tuple[ClipRecord, ...]:
    """The clips in use that a slip spoiled, to be taken back and recorded again; none once clips changed since."""
    found: list[ClipRecord] = []
    for again in () if record.stale else verdict.again:
        there = [c for c in record.live_clips(again.point) if c.kept.clip_kind == again.kind]
        found += there[again.number - 1 : again.number] if again.number else there
    return tuple(found)


class Walked(msgspec.Struct, frozen=True, kw_only=True):
    """How a round stands: made once from the job, asked as often as one likes."""

    record: RoundRecord
    points: tuple[Point, ...]
    """In walking order."""
    steps: tuple[Step, ...]
    """Every step in order with its state."""
    due: Step
    """The first step that is due, or the ``done`` step. A recording asked for by the supervisor comes first."""

    def at(self, wish: Wish) -> Step:
        """The step wished for: of its kind (and walk), else in the walk that is due, else in the last one begun."""
        here = {s.walk: s for s in self.steps if s.kind == "clip" and s.point == wish.point}
        if wish.kind in DONE:
            chosen = next((s for s in self.steps if s.kind == wish.kind), self.due)
        elif wish.kind:
            fits = (s for s in here.values() if s.clip_kind == wish.kind and wish.walk in ("", s.walk))
            chosen = next(fits, None) or self._otherwise(wish)
        elif self.due.kind == "clip" and self.due.walk in here:
            chosen = here[self.due.walk]
        else:
            begun = next((w for w in reversed(here) if self.record.live_clips(walk=w)), None)
            chosen = here[begun] if begun else self.due
        return replace(chosen, state="due")

    def _otherwise(self, wish: Wish) -> Step:
        """A clip that the job's way does not take: of another way, or of no walk at all."""
        p, kind = point(wish.point), wish.kind
        if rows := [r for r in table() if r.clip_kind == kind and wish.walk in ("", r.walk)]:
            return _clip_step(rows[0], p, self.record, rows[:1])
        sentence = f"{BEYOND.get(kind, kind)} Clip at the {p.words}."
        return _clip("wanted", sentence, p, "reference", kind, "air-on")


def walked(job: Job, round_id: str) -> Walked:
    """How a round stands. Raises KeyError: no such round."""
    record = job.round(round_id)
    points = round_points(job, record)
    made = list(_in_order(job, record, points))
    steps = tuple(replace(s, number=i, of=len(made)) for i, s in enumerate(made, 1))
    words = "The verdict is there; the supervisor may confirm, overrule or send back."
    if record.signed:
        words = f"Round signed by {record.signatures[-1].name}; it is closed."
    done = Step(id="done", kind="done", sentence=words, state="done", number=len(steps), of=len(steps))
    due = None if record.signed else _asked_for(record) or next((s for s in steps if s.state == "due"), None)
    return Walked(record=record, points=points, steps=steps, due=due or done)


def round_points(job: Job, record: RoundRecord) -> tuple[Point, ...]:
    """Points of a round in walking order: those of the engine, and any other at which a clip was kept."""
    ids = {c.kept.point for c in record.live_clips()}
    if record.cylinder in job.engine.cylinders:
        # A cylinder that the engine no longer has, as it was described anew, keeps the points it was recorded at.
        ids.update(p.id for p in points_for(job.engine, record.cylinder))
    return tuple(point(i) for i in sorted(ids, key=walking_order))


def _in_order(job: Job, record: RoundRecord, points: tuple[Point, ...]) -> Iterator[Step]:
    """All steps, in the order of the way."""
    way = way_of(job.way)
    clips = [row for row in table() if row.walk in way.walks]
    for row in table():
        if row in clips and not way.by_point:
            yield from (_clip_step(row, p, record, clips) for p in points)
        # Point by point: at the first row of clips all rows are gone through for each point.
        elif row in clips[:1]:
            steps = (_clip_step(each, p, record, clips) for p in points for each in clips)
            # One take is of all points that are due.
            alone = {"sentence": EVERY_POINT, "hold": HOLD_ALL} if way.by_key == "all" else {}
            yield from (replace(step, **alone) for step in steps)
        elif row.kind == "followed" and not any(c.kept.walk == SWITCHED for c in record.live_clips()):
            continue  # no valve, nothing for a needle to follow
        elif row.kind != "clip" and (row.kind != "bubbles" or any(p.holds_coolant for p in points)):
            yield _step(row, job, record)


def _step(row: Row, job: Job, record: RoundRecord) -> Step:
    done = DONE[row.kind](job, record)
    left_out = row.id in record.steps_left_out and not done
    return Step(
        id=row.id,
        kind=row.kind,
        sentence=row.sentence.format(n=record.cylinder),
        cautions=cautions_for(*row.cautions),
        state="left-out" if left_out else "done" if done else "due",
        why=record.steps_left_out[row.id] if left_out else "",
    )


def _clip_step(row: Row, p: Point, record: RoundRecord, rows: Sequence[Row]) -> Step:
    why = _left_out(row, p.id, record, rows)
    # A switched take is quiet and air in one: it counts though another way was chosen since.
    done = bool(record.live_clips(p.id, row.walk) or record.live_clips(p.id, SWITCHED))
    if row.walk == SWITCHED:
        done = done or bool(record.live_clips(p.id, "quiet") and record.live_clips(p.id, "air"))
    also: tuple[CautionStep, ...] = ("radiator",) if p.holds_coolant else ()
    step = _clip(row.id, row.sentence.format(point=p.words), p, row.walk, row.clip_kind, *row.cautions, *also)
    state: State = "done" if done else "left-out" if why else "due"
    return replace(step, state=state, why="" if done else why)


def _clip(id: str, sentence: str, p: Point, walk: str, clip_kind: str, *cautions: CautionStep) -> Step:
    """A clip at a point, due."""
    return Step(
        id=id,
        kind="clip",
        sentence=sentence,
        point=p.id,
        walk=walk,
        clip_kind=clip_kind,
        hold=p.hold,
        cautions=cautions_for(*cautions),
    )


def _left_out(row: Row, point_id: str, record: RoundRecord, rows: Sequence[Row]) -> str:
    """Why a point is not due in a walk: left out there, or in a walk before, without which this clip says nothing."""
    for before in rows[: rows.index(row) + 1]:
        if record.live_clips(point_id, before.walk):
            continue
        if skip := record.skip(point_id, before.walk):
            return skip.reason or "left out"
        if why := record.steps_left_out.get(before.id):
            return why
    return ""


def _asked_for(record: RoundRecord) -> Step | None:
    """The clip a supervisor sent the round back for, while it has not been recorded since."""
    decision = record.decision
    if decision is None or not isinstance(asked := decision.payload, SentBack):
        return None
    if record.has_what_was_asked(decision):
        return None
    p, kind = point(asked.point), asked.clip_kind
    walk = next((r.walk for r in table() if r.clip_kind == kind), "reference")
    sentence = f"{asked.name} asks for a clip ({kind}) at the {p.words}: {asked.reason.rstrip('. ')}."
    cautions: tuple[CautionStep, ...] = ("air-on",) if kind != "quiet" else ()
    return _clip(asked_step(decision), sentence, p, walk, kind, *cautions)


BEYOND = {
    "sound": "Air on a sound cylinder of this engine, at its top dead centre, full pressure.",
    "shut": "Supply on, cylinder side shut off: only hose and tester may hiss.",
}
"""Clips that are in no walk."""
