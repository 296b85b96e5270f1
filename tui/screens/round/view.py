"""What a round's screen shows, as one frozen value: made once a change from the job and from what is under way."""

from dataclasses import dataclass

import msgspec

from listen.jobs.answers import unit_of
from listen.jobs.job import Job, RoundRecord
from listen.jobs.walk import Step, Walked, walked
from listen.jobs.ways import WAYS
from listen.trade.cautions import Caution, cautions_for, told_in
from tui.bridge.preferences import Preferences
from tui.screens.calls import calls
from tui.screens.point_rows import point_rows
from tui.screens.round import words
from tui.screens.round.now import Now
from tui.widgets.banner import Say
from tui.widgets.ladder import Mark, PointRow
from tui.widgets.panels import Choice

NOT_LOOKED = Choice("l", "not-looked", "not looked")
CHOICES: dict[str, tuple[Choice, ...]] = {
    "bubbles": (Choice("y", "yes", "yes, bubbles rose"), Choice("n", "no", "no bubbles"), NOT_LOOKED),
    "followed": (
        Choice("y", "yes", "yes, the needle followed the valve"),
        Choice("n", "no", "no, it stayed"),
        NOT_LOOKED,
    ),
    "way": tuple(Choice(str(i), way.id, way.words.lower(), way.suits) for i, way in enumerate(WAYS.values(), 1)),
}
"""Steps that are answered by one key."""
FIGURES = {
    "supply": (("supply", "Supply pressure, {unit}"), ("restrictor", "Restrictor bore, {unit}; empty if not known")),
    "loss": (("loss", "Loss read on the tester, {unit}"),),
}
"""Steps at which figures are typed."""
FIGURE_KEYS = "Type it, or press Space; Enter keeps it.   s leaves it out with a reason"
SHORT, TALL = 28, 32
"""Below so many lines the banner keeps to what is new; from so many the ladder stays while something is asked."""
GO = {
    "clip": "Record",
    "there": "There already",
    "caution": "Read on",
    **dict.fromkeys(FIGURES, "Type it"),
    "verdict": "Judge",
    "done": "Verdict",
}
"""What the one key does, and its words."""
ANY_TIME = ("show('cautions')", "microphone", "bring_in", "show('times')", "note", "other_way")
"""Actions that are there whenever nothing is under way or to be answered."""
SKIPPABLE = ("clip", "supply", "loss", "bubbles", "followed", "call")


@dataclass(frozen=True, slots=True)
class Microphone:
    """The countdown and the meter; words while nothing is counted."""

    idle: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Cautions:
    """Cautions to read, and to acknowledge once all were shown."""

    rows: tuple[Caution, ...]


@dataclass(frozen=True, slots=True)
class Answers:
    """Answers with a key each."""

    choices: tuple[Choice, ...]
    about: str
    sure: bool = False


Panel = Microphone | Cautions | Answers


@dataclass(frozen=True, slots=True)
class View:
    walk: Walked
    step: Step
    """What is under way, chosen or due: the only step that banner, keys, countdown and recording know."""
    say: Say
    panel: Panel
    point_rows: tuple[PointRow, ...]
    ladder_shown: bool
    large: tuple[str, tuple[str, str]]
    """What is read across the bay, where there is room: what is next; what became of the last clip, and its pen."""
    hush: str
    """Words in place of the live excess; empty where it may be seen."""
    keys: frozenset[str]
    """Actions that do something now."""


def view(job: Job, round_id: str, now: Now, prefs: Preferences, lines: int, gauge: str = "") -> View:
    """Make it. ``lines``: height of the screen. ``gauge``: what a simulated tester reads."""
    walk = walked(job, round_id)
    step = step_now(walk, now)
    if job.pressure_unit != "kPa":
        step = msgspec.structs.replace(step, cautions=told_in(job.pressure_unit, step.cautions))
    record = walk.record
    # Blind until then: a call by ear counts only where no figure was seen before it.
    numbers = record.call() is not None or "call" in record.steps_left_out
    live = {(point, walk): Mark.CHECKING for _, point, walk in now.checking}
    if step.kind == "clip":
        live[step.point, step.walk] = now.mark or Mark.NEXT
    drawn = point_rows(walk.points, record, live, dict(now.excess))
    panel = _panel(job, walk, step, now, prefs, gauge)
    return View(
        walk=walk,
        step=step,
        say=words.say(job, walk, step, now, short=lines < SHORT),
        panel=panel,
        point_rows=drawn if numbers else tuple(r.hidden() for r in drawn),
        ladder_shown=isinstance(panel, Microphone) or lines >= TALL,
        large=words.large(walk, step, now),
        hush=words.hush(step, numbers=numbers),
        keys=_keys(record, step, now, panel, words.key_takes(job, step, now, prefs), numbers=numbers),
    )


def step_now(walk: Walked, now: Now) -> Step:
    """The clip under way, else what was chosen out of turn, else what is due."""
    if now.taking is not None:
        return now.taking
    return walk.at(now.plan[0]) if now.plan else walk.due


def _keys(record: RoundRecord, step: Step, now: Now, panel: Panel, by_key: str, *, numbers: bool) -> frozenset[str]:
    question_open = isinstance(panel, Answers)
    clips, free = record.live_clips(now.plan[0].point if now.plan else None), not now.busy
    go = "there" if now.led and now.taking and now.mark is None else step.kind if free and not question_open else ""
    idle = free and not question_open
    offered = {
        f"go('{go}')": go in GO and not (now.judging and go == "verdict"),
        "back": free,
        "stop": not free,
        "take_back": bool(clips) and idle,
        "skip": free and step.kind in SKIPPABLE,
        "other_point": free and isinstance(panel, Microphone) and step.kind in ("clip", "done"),
        "evidence": numbers and bool(record.live_clips()) and idle,
        "verdict": record.verdict is not None and idle,
        "hands_free": idle and step.kind == "clip" and by_key != "all",
        **dict.fromkeys(ANY_TIME, idle),
    }
    return frozenset(action for action, does in offered.items() if does)


def _panel(job: Job, walk: Walked, step: Step, now: Now, prefs: Preferences, gauge: str) -> Panel:
    if now.taking is not None or now.led:
        return Microphone()
    if step.kind == "caution":
        more = cautions_for("radiator") if any(p.holds_coolant for p in walk.points) else ()
        return Cautions((*step.cautions, *told_in(job.pressure_unit, more)))
    if step.kind in FIGURES:
        titles = "; ".join(title for _, title in figures_of(step, job))
        return Microphone((titles, gauge if step.kind == "loss" else "", FIGURE_KEYS))
    if step.kind in CHOICES:
        return Answers(CHOICES[step.kind], step.kind)
    if step.kind == "call":
        return Answers(calls(walk.points), "call", sure=True)
    return Microphone(words.idle(job, walk.record, step, now, prefs))


def figures_of(step: Step, job: Job) -> tuple[tuple[str, str], ...]:
    """What is typed at a step of readings: each figure's name, and how it is asked for."""
    return tuple((name, words.format(unit=unit_of(name, job))) for name, words in FIGURES[step.kind])
