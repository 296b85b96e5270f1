"""Questions between steps: why is a point left out, was another figure meant, may what was judged be touched."""

from collections.abc import Mapping

from listen.jobs.decision import ASKED
from listen.jobs.events import NoteAdded, Payload, PointSkipped, StepPassed
from listen.jobs.folder.parts import Partial
from listen.jobs.job import Job, RoundRecord
from listen.jobs.walk import Step
from listen.trade.readings import Question
from listen.voice.names import clip as clip_words
from listen.voice.names import point_name
from listen.voice.text import plain
from tui.screens.round.now import Asked
from tui.widgets.panels import Choice, Entry

REASONS = (
    "cannot be reached",
    "not there on this engine",
    "too loud there at the moment",
    "no time",
    "already known",
)
OWN_WORDS, WHOLE_WALK, NO = "own-words", "walk", "no"
GO_ON = (Choice("y", "yes", "yes, go on"), Choice("n", NO, "no, leave it as it is"))
REASON = Entry("reason", "Why", length=200)


def why_skip(step: Step) -> Asked:
    """Why is the present step left out?"""
    asked = step.id.startswith(ASKED)
    in_walk = step.kind == "clip" and not asked
    what = f"the {point_name(step.point)} in this walk" if in_walk else f"this step ({step.id})"
    what = "the clip the supervisor asks for" if asked else what
    rest = (Choice("w", WHOLE_WALK, "leave out the rest of this walk"),) if in_walk else ()
    choices = (
        *(Choice(str(i), reason, reason) for i, reason in enumerate(REASONS, 1)),
        Choice("o", OWN_WORDS, "another reason, in your own words"),
        *rest,
        Choice("n", NO, "no, do not leave it out"),
    )
    return Asked("skip", f"Why is {what} left out?", choices, step=step)


def in_own_words(asked: Asked) -> Asked:
    """The same question, answered by typing."""
    return Asked("why", asked.sentence, entries=(REASON,), step=asked.step)


def left_out(step: Step, round_id: str, reason: str) -> Payload:
    """The event that leaves a step out."""
    if reason == WHOLE_WALK:
        return StepPassed(round_id=round_id, step=step.id, reason="walk left out")
    if step.kind == "clip" and not step.id.startswith(ASKED):
        return PointSkipped(round_id=round_id, point=step.point, reason=reason, walk=step.walk)
    return StepPassed(round_id=round_id, step=step.id, reason=reason)


def doubt(questions: tuple[tuple[str, Question], ...], values: Mapping[str, str], events: tuple[Payload, ...]) -> Asked:
    """Was another figure meant? ``questions`` by figure; *yes* takes what is suggested, never what is doubted."""
    meant = {name: q.suggestion for name, q in questions if q.suggestion}
    sentence = " ".join(q.text for _, q in questions)
    typed = ", ".join(values[name] for name, _ in questions)
    yes = (Choice("y", "meant", f"yes, {', '.join(meant.values())} was meant"),) if meant else ()
    no = (Choice("k", "keep", f"keep {plain(typed, 30)} as typed"), Choice("n", NO, "type it again"))
    return Asked("doubt", sentence, (*yes, *no), values={**values, **meant}, events=events)


def leftover(part: Partial) -> Asked:
    """What is to become of a take that was cut short?"""
    at = f"{point_name(part.point)}, {clip_words(part.clip_kind)}"
    sentence = f"A take was cut short ({at}); what had arrived is still there. What is to become of it?"
    keep = Choice("k", "keep", f"keep it as this clip: {at}")
    return Asked("leftover", sentence, (keep, Choice("d", "drop", "drop it and record again")), leftover=part)


def before_touching(record: RoundRecord, what: str, events: tuple[Payload, ...], step: Step | None = None) -> Asked:
    """May a judged or signed round be changed? A signed one asks for the reason."""
    if record.signed:
        name = plain(record.signatures[-1].name, 40)
        sentence = f"{name} has signed this round. {what} will stand in it as a change after signing. Why is it done?"
        return Asked("touch", sentence, entries=(REASON,), events=events, step=step)
    sentence = f"{what}: this round has a verdict, and will be judged again without it. Go on?"
    return Asked("touch", sentence, GO_ON, events=events, step=step)


def reason_note(round_id: str, what: Asked, reason: str) -> NoteAdded:
    """Why a signed round was changed, kept beside the change."""
    return NoteAdded(round_id=round_id, text=f"Changed after signing: {plain(reason, 200)}")


def figures(step: Step, job: Job) -> tuple[Entry, ...]:
    """What is typed at a step of readings."""
    from listen.jobs.typed import unit_of

    if step.kind == "supply":
        return (
            Entry("supply", "Supply pressure", job.pressure_unit, figure=True),
            Entry("restrictor", "Restrictor bore, empty if not known", unit_of("restrictor", job), figure=True),
        )
    return (Entry("loss", "Loss read on the tester", "%", figure=True),)
