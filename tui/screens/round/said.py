"""The banner's words for each state of a round."""

from __future__ import annotations

from typing import TYPE_CHECKING

from listen.jobs.reference import declined
from tui.screens.round.course import Outcome
from tui.widgets.banner import Say
from tui.words import path_words, percent

if TYPE_CHECKING:
    from listen.jobs.job import RoundRecord
    from listen.jobs.walk import Step
    from tui.bridge.preferences import Preferences

WALK_WORDS = {
    "quiet": "quiet walk, air off",
    "air": "air walk, air on",
    "closing": "closing quiet walk, air off",
    "reference": "reference",
}
PRESS = {
    "clip": "Press Space.",
    "caution": "Press Space when all of this is so.",
    "bubbles": "Press y, n or l.",
}
REMIND = {"loss": 2, "call": 2}
"""Steps at which so many of their cautions are repeated in the banner (all were read at the start of the round)."""


def say(step: Step, cylinder: int, outcome: Outcome | None, *, busy: str = "", short: bool = False) -> Say:
    """What to do next; on a short screen without repeating cautions that were read at the start."""
    words = f"{step.sentence} {PRESS.get(step.kind, '')}".strip()
    text, tone = _outcome(outcome)
    return Say(
        where(step, cylinder),
        busy or words,
        _more(step, short=short),
        text,
        "caution" if step.kind == "caution" else tone,
    )


def where(step: Step, cylinder: int) -> str:
    """Which walk, and how far."""
    part = WALK_WORDS.get(step.walk, "the supervisor asks" if step.id == "asked-for" else "")
    count = f"step {step.number} of {step.of}" if step.number else ""
    return " · ".join(p for p in (f"cylinder {cylinder}", part, count) if p)


def _more(step: Step, *, short: bool) -> str:
    if step.kind == "clip":
        danger = [c.words for c in step.cautions if c.step == "radiator" and c.weight == "danger" and not short]
        return " ".join([step.hold, *(f"▲ {w}" for w in danger)])
    return " ".join(f"▲ {c.words}" for c in step.cautions[: REMIND.get(step.kind, 0)])


def _outcome(outcome: Outcome | None) -> tuple[str, str]:
    if outcome is None:
        return "", "plain"
    if outcome.kept:
        return f"✓ {outcome.sentence}", "good"
    if outcome.stopped:
        return f"– {outcome.sentence}", "plain"
    return f"× {outcome.lead}: {outcome.sentence}", "again"


def verdict_say(text: str, advice: str, head: str, outcome: Outcome | None) -> Say:
    """The verdict, once it stands."""
    said, tone = _outcome(outcome)
    more = f"Next: {advice}" if advice else ""
    return Say(head, text, f"{more}  Space shows what the verdict rests on.".strip(), said, tone or "good")


def idle_words(step: Step, record: RoundRecord, prefs: Preferences, beside: tuple[int, ...]) -> tuple[str, ...]:
    """What stands where the countdown will be."""
    if step.kind == "clip":
        return (
            f"○ ready: Space records {prefs.clip_s:g} s, {prefs.before_s:g} s after the key",
            f"  h leads through the walk by tones, {prefs.move_s:g} s a point   t changes the times",
            "  ↑ ↓ another point   s leave it out   Backspace take the last clip back",
        )
    if step.kind != "done" or record.verdict is None:
        return ()
    likely = sorted(record.verdict.result.paths, key=lambda p: -p.involved)[:3]
    odds = "   ".join(f"{path_words(p.path)} {percent(p.involved)}" for p in likely)
    sound = " and ".join(map(str, beside))
    none = (
        "Sound cylinder left out on purpose"
        if declined(record)
        else "No sound cylinder to compare with: walk a good one"
    )
    return (
        f"At work at all:  {odds}",
        f"Sound cylinder beside it: {sound}" if sound else none,
        "↑ ↓ a point to record once more   e its evidence   v the weight of evidence",
    )


def hush_words(step: Step, *, may_be_seen: bool) -> str:
    """Words in place of the live excess where it has no meaning or may not be seen yet; empty where it may."""
    if not may_be_seen:
        return "shown after your call by ear"
    return "" if step.kind == "clip" and step.walk != "quiet" else "shown while the air is on"
