"""The words of a drill: what each phase says and asks."""

from listen.lab.training.book import Answer
from listen.lab.training.session import Session
from listen.rounds.model import Facts
from listen.trade.points import PathId
from listen.voice import names
from listen.voice.text import plain
from tui.screens.calls import AT_POINT
from tui.widgets.banner import Say
from tui.widgets.panels import Choice

CANNOT_TELL, TWO, STAY = "cannot-tell", "two", "stay"
SURE = (
    Choice("1", "0.5", "a guess", "as likely wrong as right"),
    Choice("2", "0.65", "rather so", "2 of 3"),
    Choice("3", "0.8", "fairly sure", "4 of 5"),
    Choice("4", "0.9", "sure", "9 of 10"),
    Choice("5", "0.97", "would open the engine", "30 to 1"),
)
HEARD_AT = {**AT_POINT, PathId.SET_UP: "intake and tailpipe both loud"}
PATHS = tuple(
    Choice(str(i), path.value, names.path(path), HEARD_AT[path])
    for i, path in enumerate((*(p for p in AT_POINT if p is not PathId.NONE), PathId.SET_UP, PathId.NONE), 1)
)
"""The same answers for every round, whatever it holds."""
CALLS = (
    *PATHS,
    Choice("m", TWO, "more than one", "two at once, for example: tick them"),
    Choice("u", CANNOT_TELL, "cannot tell"),
)
PAIRABLE = [(c.id, c.words) for c in PATHS if c.id not in (PathId.NONE, PathId.FITTING, PathId.SET_UP)]


def choices(phase: str) -> tuple[Choice, ...]:
    if phase in ("sure", "again-sure"):
        return SURE
    if phase == "again":
        return (Choice("k", STAY, "keep my call"), *CALLS)
    return CALLS if phase == "call" else ()


def phase_say(phase: str, session: Session, answered: tuple[Answer, str] | None, mute: str) -> Say:
    """The banner of a phase; ``answered`` is the last answer and what gave its round away."""
    title = plain(session.opened.title, 60)
    total = session.opened.total
    at = f"{title} · round {min(session.number, total)} of {total}"
    where = f"{at}{' · simulated' if session.simulated else ''}"
    if phase == "truth" and answered is not None:
        return _truth(f"{title} · {len(session.answers)} of {total} answered", *answered)
    if phase == "over":
        right = sum(bool(a.right) for a in session.answers)
        return Say(where, f"This sitting is done: {right} of {total} right by ear. Esc goes back to the lab.", "")
    told = "Loss and bubbles are told after your call by ear."
    called = names.paths(session.called.paths if session.called else (), "cannot tell")
    texts = {
        "hear": ("Listen at each point (Space plays quiet, then air), then press c to call.", told),
        "call": ("Which path is it, by ear?", told),
        "sure": ("How sure are you? Honest sureness scores best.", told),
        "again": (f"{facts_words(session.facts)} You said: {called}. Which path is it now?", ""),
        "again-sure": ("How sure are you now?", ""),
    }
    step, more = texts[phase]
    return Say(where, step, more, f"! {mute}" if mute else "", "again" if mute else "plain")


def facts_words(facts: Facts | None) -> str:
    """What was read beside the clips."""
    if facts is None:
        return ""
    loss = f"Loss {facts.loss_percent:.0f} %." if facts.loss_percent is not None else ""
    seen = {True: "Bubbles were seen.", False: "No bubbles were seen."}
    bubbles = "" if facts.bubbles_seen is None else seen[facts.bubbles_seen]
    return f"{loss} {bubbles}".strip() or "Nothing but the clips is told."


def _truth(where: str, answer: Answer, gave_away: str) -> Say:
    truth = names.paths(answer.truth)
    called = names.paths(answer.paths, "cannot tell")
    if answer.then is not None and answer.then != answer.paths:
        called += f", then {names.paths(answer.then, 'cannot tell')}"
    word, tone = {True: ("✓ right", "good"), False: ("× wrong", "again"), None: ("– not called", "plain")}[answer.right]
    word += " by ear"
    if answer.right_then is not answer.right:
        now = {True: "right", False: "wrong", None: "not called"}[answer.right_then]
        word += f", {now} with the readings"
    return Say(where, f"It was: {truth}. You said: {called}. Press n for the next.", plain(gave_away, 500), word, tone)
