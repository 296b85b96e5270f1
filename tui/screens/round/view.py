"""What a round's screen shows, as one frozen value: made once a change from the job and from what is under way."""

from dataclasses import dataclass

import msgspec

from listen.jobs.answers import unit_of
from listen.jobs.decision import ASKED
from listen.jobs.job import Job, RoundRecord
from listen.jobs.reference import reference_cylinders, why_no_reference
from listen.jobs.walk import Step, Walked, walked
from listen.jobs.ways import SWITCHED, WAYS, way_of
from listen.switched_take import CYCLES, PERIOD_S, switched_s
from listen.trade.cautions import Caution, cautions_for, told_in
from listen.voice.names import point_name, short_path
from listen.voice.verdicts import odds
from tui.bridge.preferences import Preferences
from tui.screens.calls import calls
from tui.screens.point_rows import point_rows
from tui.screens.round.now import Asked, Now, Outcome
from tui.widgets.banner import Say
from tui.widgets.ladder import Mark, PointRow
from tui.widgets.panels import Choice, Entry

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
WALK_WORDS = {
    "switched": "air off and on, the microphone stays",
    "quiet": "quiet walk, air off",
    "air": "air walk, air on",
    "closing": "closing quiet walk, air off",
    "reference": "reference",
}
PRESS = {
    "clip": "Press Space.",
    "caution": "Space turns the page; when all of it is read, Space says so.",
    "bubbles": "Press y, n or l.",
    "followed": "Press y, n or l.",
    "way": "Press 1 to 4.",
}
REMIND = {"loss": 2, "call": 2}
"""Steps at which so many of their cautions are repeated in the banner (all were read at the start of the round)."""
SHORT, TALL = 28, 32
"""Below so many lines the banner keeps to what is new; from so many the ladder stays while something is asked."""
GO = {"clip": "Record", "there": "There already", "caution": "Read on", "verdict": "Judge", "done": "Verdict"}
"""What the one key does, and its words."""
ANY_TIME = ("show('cautions')", "microphone", "bring_in", "show('times')", "note", "other_way")
"""Actions that are there whenever nothing is under way or asked."""
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
class Figures:
    """Figures or words to type."""

    entries: tuple[Entry, ...]
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Answers:
    """Answers with a key each."""

    choices: tuple[Choice, ...]
    about: str
    sure: bool = False


Panel = Microphone | Cautions | Figures | Answers


@dataclass(frozen=True, slots=True)
class View:
    walk: Walked
    step: Step
    """What is under way, chosen or due: the only step that banner, keys, countdown and recording know."""
    say: Say
    panel: Panel
    point_rows: tuple[PointRow, ...]
    ladder_shown: bool
    numbers_shown: bool
    """Only once the by-ear call was made or declined."""
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
    numbers = record.call() is not None or "call" in record.steps_left_out
    live = {(point, walk): Mark.CHECKING for _, point, walk in now.checking}
    if step.kind == "clip":
        live[step.point, step.walk] = now.mark or Mark.NEXT
    drawn = point_rows(walk.points, record, live, dict(now.excess))
    panel = _panel(job, walk, step, now, prefs, gauge)
    return View(
        walk=walk,
        step=step,
        say=_say(walk, step, now, short=lines < SHORT, alone=len(job.engine.cylinders) == 1, first=_first(job)),
        panel=panel,
        point_rows=drawn if numbers else tuple(r.hidden() for r in drawn),
        ladder_shown=isinstance(panel, Microphone) or lines >= TALL,
        numbers_shown=numbers,
        large=_large(walk, step, now),
        hush=_hush(step, numbers=numbers),
        keys=_keys(record, step, now, panel, key_takes(job, step, now, prefs), numbers=numbers),
    )


def step_now(walk: Walked, now: Now) -> Step:
    """The clip under way, else what was chosen out of turn, else what is due."""
    if now.taking is not None:
        return now.taking
    return walk.at(now.plan[0]) if now.plan else walk.due


def _keys(record: RoundRecord, step: Step, now: Now, panel: Panel, by_key: str, *, numbers: bool) -> frozenset[str]:
    question_open = isinstance(panel, Figures | Answers)
    clips, free = record.live_clips(now.plan[0].point if now.plan else None), not now.busy
    go = "there" if now.led and now.mark is None else step.kind if free and not question_open else ""
    idle = free and not question_open
    offered = {
        f"go('{go}')": go in GO and not (now.judging and go == "verdict"),
        "back": free,
        "stop": not free,
        "take_back": bool(clips) and not now.asked and idle,
        "skip": free and not now.asked and step.kind in SKIPPABLE,
        "other_point": free and isinstance(panel, Microphone) and step.kind in ("clip", "done"),
        "evidence": numbers and bool(record.live_clips()) and idle,
        "verdict": record.verdict is not None and idle,
        "hands_free": idle and step.kind == "clip" and by_key != "all",
        **dict.fromkeys(ANY_TIME, idle),
    }
    return frozenset(action for action, does in offered.items() if does)


def _panel(job: Job, walk: Walked, step: Step, now: Now, prefs: Preferences, gauge: str) -> Panel:
    if (asked := now.asked) is not None:
        return _asking(asked)
    if now.taking is not None or now.led:
        return Microphone()
    if step.kind == "caution":
        more = cautions_for("radiator") if any(p.holds_coolant for p in walk.points) else ()
        return Cautions((*step.cautions, *told_in(job.pressure_unit, more)))
    if step.kind in ("supply", "loss"):
        told = gauge if step.kind == "loss" else ""
        remark = f"{told} Enter goes on. Ctrl+S leaves it out with a reason.".strip()
        return Figures(_figures(step, job), remark)
    if step.kind in CHOICES:
        return Answers(CHOICES[step.kind], step.kind)
    if step.kind == "call":
        return Answers(calls(walk.points), "call", sure=True)
    return Microphone(_idle(job, walk.record, step, now, prefs))


def _asking(asked: Asked) -> Panel:
    if asked.choices:
        return Answers(asked.choices, asked.sentence)
    return Figures(asked.entries, "Enter keeps it, Esc leaves all as it was.")


def _figures(step: Step, job: Job) -> tuple[Entry, ...]:
    """What is typed at a step of readings."""
    if step.kind == "loss":
        return (Entry("loss", "Loss read on the tester", "%", figure=True),)
    return (
        Entry("supply", "Supply pressure", job.pressure_unit, figure=True),
        Entry("restrictor", "Restrictor bore, empty if not known", unit_of("restrictor", job), figure=True),
    )


def _first(job: Job) -> str:
    """What stands before a job's first clip."""
    taken = any(r.clips for r in job.rounds)
    return "" if job.microphone or taken else "! Is this microphone good for hiss? m checks it in four seconds."


def _say(walk: Walked, step: Step, now: Now, *, short: bool, alone: bool, first: str) -> Say:
    """What the banner says. ``alone``: the engine has one cylinder, there is no sound one to record."""
    record = walk.record
    head = _where(step, record.cylinder)
    text, tone = _outcome(now.outcome)
    if now.asked is not None:
        why = text if now.asked.leftover and now.outcome and now.outcome.lost else ""
        return Say(head, now.asked.sentence, "", why, tone="caution")
    if step.kind == "done" and record.verdict is not None:
        verdict = record.verdict.result.verdict
        changed = f" · ! {record.changed_after_signing[-1]}" if record.changed_after_signing else ""
        advice = f"Next: {verdict.next}" if verdict.next and not (alone and verdict.next_kind == "sound") else ""
        more = f"{advice}  Space shows what the verdict rests on.".strip()
        return Say(f"{head}{changed}", verdict.text, more, text, tone if now.outcome else "good")
    words = step.sentence if now.busy else f"{step.sentence} {PRESS.get(step.kind, '')}".strip()
    busy = "Judging the round: a moment." if now.judging and step.kind == "verdict" else ""
    more = _more(walk, step, now, short=short)
    if step.kind == "clip" and not now.busy:
        more = f"{first} {more}".strip()
    return Say(head, busy or words, more, text, "caution" if step.kind == "caution" else tone)


def _where(step: Step, cylinder: int) -> str:
    """Which walk, and how far."""
    part = "the supervisor asks; s leaves it out" if step.id.startswith(ASKED) else WALK_WORDS.get(step.walk, "")
    count = f"step {step.number} of {step.of}" if step.number else ""
    return " · ".join(p for p in (f"cylinder {cylinder}", part, count) if p)


def _more(walk: Walked, step: Step, now: Now, *, short: bool) -> str:
    if step.kind != "clip":
        return " ".join(f"▲ {c.words}" for c in step.cautions[: REMIND.get(step.kind, 0)])
    danger = [c.words for c in step.cautions if c.step == "radiator" and c.weight == "danger" and not short]
    due = walk.due
    turn = point_name(due.point) if due.kind == "clip" else "what is due"
    chosen = [f"Chosen out of turn; Esc goes back to {turn}."] if now.plan and not now.busy else []
    return " ".join([*chosen, step.hold, *(f"▲ {w}" for w in danger)])


def _outcome(outcome: Outcome | None) -> tuple[str, str]:
    if outcome is None:
        return "", "plain"
    if outcome.kept:
        return f"✓ {outcome.sentence}", "good"
    if outcome.stopped:
        return f"– {outcome.sentence}", "plain"
    return f"× {'Cut short' if outcome.lost else outcome.lead}: {outcome.sentence}", "again"


def key_takes(job: Job, step: Step, now: Now, prefs: Preferences) -> str:
    """What one key records at a step: a clip, a point, a walk, or all; out of turn a clip of a walk and no more."""
    return way_of(job.way).by_key_at(step.walk, prefs.air_s, 0.0 if now.plan else prefs.move_s)


def _ready(job: Job, step: Step, now: Now, prefs: Preferences) -> tuple[str, str]:
    """What Space does next, and how long that takes."""
    by_key, clip = key_takes(job, step, now, prefs), f"{prefs.clip_s:g} s"
    on = f"h leads on from point to point   w another way (now: {way_of(job.way).words.lower()})"
    if step.walk == SWITCHED:
        at = "all points at once" if by_key == "all" else "this point"
        first = f"Space takes {at}, {switched_s(CYCLES, PERIOD_S):g} s led by tones and the count"
        second = on.partition("   ")[2] if by_key == "all" else on
    elif by_key == "point":
        first = "Space takes a point: air off, on, off"
        second = f"{clip} each, {prefs.air_s:g} s for the air, Esc stops   h leads on, point by point   t times"
    elif by_key == "walk":
        first = "Space takes this walk from here on"
        second = f"{clip} each, {prefs.move_s:g} s from point to point (Space: there, Esc stops)   t times"
    else:
        first = f"Space records {clip}, {prefs.before_s:g} s after the key"
        second = f"h leads through the walk by tones, {prefs.move_s:g} s a point   t changes the times"
    check = "" if job.microphone else "   ! microphone not checked: m"
    return f"○ ready: {first}{check}", f"  {second}"


def _idle(job: Job, record: RoundRecord, step: Step, now: Now, prefs: Preferences) -> tuple[str, ...]:
    """What stands where the countdown will be."""
    if step.kind == "clip":
        return (
            *_ready(job, step, now, prefs),
            "  ↑ ↓ another point   s leave it out   Backspace take the last clip back",
        )
    if step.kind != "done" or record.verdict is None:
        return ()
    likely = sorted(record.verdict.result.paths, key=lambda p: -p.involved)[:3]
    return (
        f"Leaks, alone or with others:  {odds(((p.path, p.involved) for p in likely), '   ')}" if likely else "No odds",
        _beside(job, record),
        "↑ ↓ a point to record once more   e its evidence   v the weight of evidence",
    )


def _beside(job: Job, record: RoundRecord) -> str:
    """Which sound cylinder the verdict was compared with."""
    if len(job.engine.cylinders) == 1:
        return "The engine has one cylinder: there is no sound one to compare with"
    if why_no_reference(record):
        return "Sound cylinder left out on purpose"
    others = " and ".join(map(str, reference_cylinders(job, record.id)))
    return f"Sound cylinder beside it: {others}" if others else "No sound cylinder to compare with: walk a good one"


def _large(walk: Walked, step: Step, now: Now) -> tuple[str, tuple[str, str]]:
    word = {"clip": step.point.replace("-", " "), "call": "call by ear", "caution": "read"}.get(step.kind, step.kind)
    if step.kind == "done" and walk.record.verdict is not None:
        verdict = walk.record.verdict.result.verdict
        named = " ".join(map(short_path, verdict.paths)) if verdict.kind in ("path", "several") else ""
        word = named or {"unclear": "cannot tell"}.get(verdict.kind, verdict.kind)
    outcome = now.outcome
    if outcome is None or outcome.stopped or now.asked:
        return word, ("", "")
    return word, ("kept", "sure") if outcome.kept else ("again", "bad")


def _hush(step: Step, *, numbers: bool) -> str:
    if not numbers:
        return "shown after your call by ear"
    return "" if step.kind == "clip" and step.walk != "quiet" else "shown while the air is on"
