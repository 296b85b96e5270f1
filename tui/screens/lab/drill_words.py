"""The words of a drill: what each phase says and asks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from listen.trade.points import point
from listen.voice import names
from tui.screens.calls import calls, names_a_path
from tui.widgets.banner import Say
from tui.widgets.panels import Choice
from tui.words import plain

if TYPE_CHECKING:
    from listen.lab.training.answers import Reveal
    from listen.lab.training.session import Session

CANNOT_TELL = "cannot-tell"
SURE = (
    Choice("1", "0.5", "a guess", "as likely wrong as right"),
    Choice("2", "0.65", "rather so", "2 of 3"),
    Choice("3", "0.8", "fairly sure", "4 of 5"),
    Choice("4", "0.9", "sure", "9 of 10"),
    Choice("5", "0.97", "would open the engine", "30 to 1"),
)


def choices(phase: str, points: tuple[str, ...]) -> tuple[Choice, ...]:
    """Answers of a phase."""
    if phase == "sure":
        return SURE
    named = tuple(c for c in calls(tuple(point(p) for p in points)) if names_a_path(c.id))
    return (*named, Choice("u", CANNOT_TELL, "cannot tell"))


def phase_say(phase: str, session: Session, reveal: Reveal | None, mute: str) -> Say:
    """The banner of a phase."""
    at = f"{session.drill.title} · round {min(session.number, session.total)} of {session.total}"
    where = f"{at}{' · simulated' if session.drill.simulated else ''}"
    if phase == "truth" and reveal is not None:
        return _truth(f"{session.drill.title} · {len(session.answers)} of {session.total} answered", reveal)
    if phase == "over":
        right = sum(bool(a.right) for a in session.answers)
        return Say(where, f"This drill is done: {right} of {session.total} right. Esc goes back to the lab.", "")
    texts = {
        "hear": ("Listen at each point (Space plays quiet, then air), then press c to call.", _facts(session)),
        "call": ("Which path is it?", _facts(session)),
        "sure": ("How sure are you? Honest sureness scores best.", ""),
    }
    step, more = texts[phase]
    return Say(where, step, more, f"! {mute}" if mute else "", "again" if mute else "plain")


def _facts(session: Session) -> str:
    facts = session.item.facts
    loss = f"Loss {facts.loss_percent:.0f} %." if facts.loss_percent is not None else ""
    seen = {True: "Bubbles were seen.", False: "No bubbles were seen."}
    bubbles = "" if facts.bubbles_seen is None else seen[facts.bubbles_seen]
    return f"{loss} {bubbles}".strip() or "Nothing but the clips is told."


def _truth(where: str, reveal: Reveal) -> Say:
    truth = names.paths(reveal.truth)
    called = names.paths(reveal.called, "cannot tell")
    word, tone = {True: ("✓ right", "good"), False: ("× wrong", "again"), None: ("– not called", "plain")}[reveal.right]
    return Say(
        where,
        f"It was: {truth}. You said: {called}. Press n for the next.",
        plain(reveal.gave_away, 500),
        word,
        tone,
    )
