"""What a round's screen says: the banner, what stands where the countdown will be, what is read across the bay."""

from listen.jobs.decision import ASKED
from listen.jobs.job import Job, RoundRecord
from listen.jobs.reference import beside_it
from listen.jobs.top_again import to_be_taken_again
from listen.jobs.walk import Step, Walked
from listen.jobs.ways import SWITCHED, way_of
from listen.switched_take import CYCLES, PERIOD_S, switched_s
from listen.voice.names import point_name, short_path
from listen.voice.verdicts import odds
from tui.bridge.preferences import Preferences
from tui.screens.round.now import Now, Outcome
from tui.widgets.banner import Say

WALK_WORDS = {
    "switched": "air off and on, the microphone stays",
    "quiet": "quiet walk, air off",
    "air": "air walk, air on",
    "closing": "closing quiet walk, air off",
    "reference": "beside the walks",
}
PRESS = {
    "clip": "Press Space.",
    "caution": "Space turns the page; when all of it is read, Space says so.",
    "bubbles": "Press y, n or l.",
    "followed": "Press y, n or l.",
    "way": "Press 1 to 4.",
}
ANOTHER_STAND = "Top dead centre was found again at another loss: take all clips anew. The former ones stay on disk."
REMIND = {"loss": 2, "call": 2}
"""Steps at which so many of their cautions are repeated in the banner (all were read at the start of the round)."""


def _unchecked(job: Job) -> str:
    """What stands before a clip as long as the microphone was not checked: asked once, then only said."""
    if job.microphone:
        return ""
    if any(r.clips for r in job.rounds):
        return "! Microphone not checked: m."
    return "! Is this microphone good for hiss? m checks it in four seconds."


def say(job: Job, walk: Walked, step: Step, now: Now, *, short: bool) -> Say:
    """What the banner says, in few lines where there are few."""
    record = walk.record
    head = _where(step, record.cylinder)
    text, tone = _outcome(now.outcome)
    if step.kind == "done" and record.verdict is not None:
        verdict = record.verdict.result.verdict
        changed = f" · ! {record.changed_after_signing[-1]}" if record.changed_after_signing else ""
        alone = len(job.engine.cylinders) == 1  # no sound cylinder to record
        advice = f"Next: {verdict.next}" if verdict.next and not (alone and verdict.next_kind == "sound") else ""
        more = f"{advice}  Space shows what the verdict rests on.".strip()
        return Say(f"{head}{changed}", verdict.text, more, text, tone if now.outcome else "good")
    words = step.sentence if now.busy else f"{step.sentence} {PRESS.get(step.kind, '')}".strip()
    busy = "Judging the round: a moment." if now.judging and step.kind == "verdict" else ""
    if now.led and now.taking is None:  # the walk's last clip; what comes next is asked once it is known to be kept
        busy = "Checking the last clip: a moment."
    more = _more(walk, step, now, short=short)
    if step.kind == "clip" and not now.busy:
        more = f"{_unchecked(job)} {more}".strip()
    return Say(head, busy or words, more, text, "caution" if step.kind == "caution" else tone)


def _where(step: Step, cylinder: int) -> str:
    part = "the supervisor asks; s leaves it out" if step.id.startswith(ASKED) else WALK_WORDS.get(step.walk, "")
    count = f"step {step.number} of {step.of}" if step.number else ""
    return " · ".join(p for p in (f"cylinder {cylinder}", part, count) if p)


def _more(walk: Walked, step: Step, now: Now, *, short: bool) -> str:
    if to_be_taken_again(walk.record) and step.kind == "clip":
        return f"{ANOTHER_STAND} {step.hold}"
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
    by_key, clip = key_takes(job, step, now, prefs), f"{now.clip_s(prefs.clip_s):g} s"
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
    return f"○ ready: {first}", f"  {second}"


def idle(job: Job, record: RoundRecord, step: Step, now: Now, prefs: Preferences) -> tuple[str, ...]:
    """What stands where the countdown will be."""
    if step.kind == "clip":
        return (
            *_ready(job, step, now, prefs),
            "  ↑ ↓ another point   s leave it out   Backspace take the last clip back",
        )
    if step.kind != "done" or record.verdict is None:
        return ()
    likely = record.verdict.result.likeliest[:2]
    return (
        f"Odds, alone or with others:  {odds(((p.path, p.involved) for p in likely), '   ')}" if likely else "No odds",
        beside_it(job, record),
        "↑ ↓ a point to record once more   e its evidence   v the weight of evidence",
    )


def large(walk: Walked, step: Step, now: Now) -> tuple[str, tuple[str, str]]:
    word = {"clip": step.point.replace("-", " "), "call": "call by ear", "caution": "read"}.get(step.kind, step.kind)
    if step.kind == "done" and walk.record.verdict is not None:
        verdict = walk.record.verdict.result.verdict
        named = " ".join(map(short_path, verdict.paths)) if verdict.kind in ("path", "several") else ""
        word = named or {"unclear": "cannot tell"}.get(verdict.kind, verdict.kind)
    outcome = now.outcome
    if outcome is None or outcome.stopped:
        return word, ("", "")
    return word, ("kept", "sure") if outcome.kept else ("again", "bad")


def hush(step: Step, *, numbers: bool) -> str:
    if not numbers:
        return "shown after your call by ear"
    return "" if step.kind == "clip" and step.walk != "quiet" else "shown while the air is on"
