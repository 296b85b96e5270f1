"""What each kind of event says, in one line, and to which step it belongs; what two machines said differently without
knowing of each other."""

from collections.abc import Callable, Iterable
from typing import Any

from listen.jobs import events as ev
from listen.jobs.decision import ASKED
from listen.jobs.job import Job
from listen.jobs.ways import WAYS
from listen.voice import figures, names, verdicts
from listen.voice.text import plain
from listen.voice.times import moment

SECTIONS = {
    "intake": "at intake",
    "cautions": "cautions",
    "readings": "readings",
    "quiet": "quiet walk",
    "call": "call by ear",
    "air": "air walk",
    "closing": "closing quiet walk",
    "switched": "switched takes",
    "reference": "reference clips",
    "bubbles": "bubbles",
    "seen": "seen",
    "verdict": "verdict",
    "decision": "decision",
    "finding": "teardown",
    "notes": "notes",
}
"""Steps in the order of a page, and their headings."""
WALKS = ("quiet", "air", "closing", "switched")
REST = "walk left out"
"""Reason of a step left out by which the rest of its walk is meant."""


def event_words(payload: ev.Payload, job: Job) -> str:
    """One line; empty for events that say nothing by themselves."""
    row = ROWS.get(type(payload))
    return row[1](payload, job) if row else ""


def section(payload: ev.Payload) -> str:
    match payload:
        case ev.ClipKept(walk=walk):
            return walk if walk in WALKS else "reference"
        case ev.PointSkipped(walk=walk):
            return walk if walk in WALKS else "quiet"
        case ev.StepPassed(step=step):
            return step if step in SECTIONS else STEPS.get(step, "notes")
    return ROWS[type(payload)][0]


STEPS = {"followed": "bubbles", "set-up": "cautions"} | dict.fromkeys(("supply", "loss", "way"), "readings")
"""Steps of a round that stand under another heading than their own name."""


def _clip(p: ev.ClipKept, job: Job) -> str:
    made = f"recorded elsewhere ({plain(p.imported_from, 40)})" if p.imported_from else ""
    parts = (
        f"{names.point_name(p.point)}, {names.clip(p.clip_kind)}",
        f"{p.seconds:.1f} s",
        f"take {p.take}" if p.take > 1 else "",
        made,
        "saved from a take that was cut short" if p.recovered else "",
        *(plain(f.text, 120) for f in p.flags[:1]),
    )
    return ", ".join(part for part in parts if part)


def _call(p: ev.ByEarCalled, job: Job) -> str:
    words = "declined to call" if p.declined else names.by_ear(p.paths, p.sure)
    when = "" if p.declined or p.before_numbers else ", after numbers had been shown"
    return f"{plain(p.role, 20)}{f' {plain(p.name, 40)}' if p.name else ''}: {words}{when}"


def _passed(p: ev.StepPassed, job: Job) -> str:
    if p.step == "reference":
        return f"sound cylinder left out: {plain(p.reason, 120)}" if p.reason else "the other cylinders count again"
    if p.step.startswith(ASKED):
        return f"the clip asked for is left out: {plain(p.reason, 120)}" if p.reason else "the clip asked for after all"
    name = SECTIONS.get(p.step, p.step)
    if p.reason == REST:
        return f"the rest of the {name} left out"
    return f"{name} left out: {plain(p.reason, 120)}" if p.reason else f"{name}: taken up again"


def _judged(p: ev.Judged, job: Job) -> str:
    v = p.result.verdict
    return f"{verdicts.glyph(v.kind)} {verdicts.verdict(v.kind, v.paths, v.probability)}, from {len(p.clips)} clips"


def _engine(p: ev.JobOpened | ev.EngineDescribed, job: Job) -> str:
    order = "-".join(map(str, p.engine.firing_order)) or "not known"
    rows = " / ".join("-".join(map(str, row)) for row in p.engine.rows)
    head = f"opened as {plain(p.title, 60)}: " if isinstance(p, ev.JobOpened) else ""
    return f"{head}engine {plain(p.engine.name or p.engine.layout, 40)}, cylinders {rows}, firing order {order}"


def _named(p: ev.JobNamed, job: Job) -> str:
    new = {"title": p.title, "shop": p.shop, "unit": p.pressure_unit, "complaint": p.complaint}
    return ", ".join(f"{k}: {plain(v, 80) or 'none'}" for k, v in new.items() if v is not None)


def _reading(p: ev.ReadingEntered, job: Job) -> str:
    sure = ", asked about and kept as typed" if p.confirmed else ""
    return f"{names.figure_name(p.reading)} {figures.as_read(p.value, p.unit)}{sure}"


def _skipped(p: ev.PointSkipped, job: Job) -> str:
    what = "left out" if p.skipped else "taken up again"
    return f"{names.point_name(p.point)} {what}{f': {plain(p.reason, 120)}' if p.reason else ''}"


def _note(p: ev.NoteAdded, job: Job) -> str:
    clip = job.clip(p.clip) if p.clip else None
    where = f"{names.walked_clip(clip.kept.point, clip.kept.walk)}: " if clip else ""
    return f"{where}{plain(p.text, 400)}"


def _again(p: ev.TopFoundAgain) -> str:
    return figures.as_read(p.loss_percent, "percent")


def _asked(p: ev.SymptomsAsked, job: Job) -> str:
    if len(p.symptoms) == 1:
        return f"asked: {names.symptom_name(p.symptoms[0])}"
    return f"{len(p.symptoms)} questions about symptoms gone through"


ROWS: dict[type[ev.Payload], tuple[str, Callable[[Any, Job], str]]] = {
    ev.JobOpened: ("intake", _engine),
    ev.EngineDescribed: ("intake", _engine),
    ev.JobNamed: ("intake", _named),
    ev.DetailsGiven: ("intake", lambda p, j: ", ".join(f"{k}: {plain(v, 80) or 'none'}" for k, v in p.details.items())),
    ev.PersonChosen: ("intake", lambda p, j: f"{plain(p.role, 20)}: {plain(p.name, 60)}"),
    ev.WayChosen: (
        "intake",
        lambda p, j: f"rounds are taken: {WAYS[p.way].words.lower() if p.way in WAYS else plain(p.way, 40)}",
    ),
    ev.CautionAcknowledged: ("cautions", lambda p, j: "read and acknowledged"),
    ev.ReadingEntered: ("readings", _reading),
    ev.MicrophoneChecked: ("readings", lambda p, j: f"microphone {plain(p.device, 40)}: {plain(p.text, 120)}"),
    ev.PlugSeen: ("seen", lambda p, j: f"plug: {names.plug_looks(p.conditions, p.text)}"),
    ev.SymptomNoted: ("seen", lambda p, j: f"{names.symptom_name(p.symptom)}{'' if p.present else ': not there'}"),
    ev.SymptomsAsked: ("seen", _asked),
    ev.StepPassed: ("notes", _passed),
    ev.ClipKept: ("quiet", _clip),
    ev.PointSkipped: ("quiet", _skipped),
    ev.RoundImported: ("notes", lambda p, j: f"{len(p.files)} clips imported from {plain(p.folder, 60)}"),
    ev.ByEarCalled: ("call", _call),
    ev.BubblesLooked: ("bubbles", lambda p, j: {"yes": "bubbles rose", "no": "no bubbles"}.get(p.seen, "not looked")),
    ev.AirFollowed: (
        "bubbles",
        lambda p, j: {"yes": "the needle followed the valve", "no": "the needle stayed"}.get(p.seen, "not looked"),
    ),
    ev.TopFoundAgain: ("readings", lambda p, j: f"top dead centre found again: {_again(p)} lost, as before"),
    ev.CheckMade: ("seen", lambda p, j: f"check {plain(p.check, 40)}: {plain(p.outcome, 40) or 'taken back'}"),
    ev.PhotoKept: ("seen", lambda p, j: f"photo {plain(p.imported_from, 60)}"),
    ev.Judged: ("verdict", _judged),
    ev.Confirmed: ("decision", lambda p, j: f"{plain(p.name, 40)} agrees{f': {plain(p.text, 120)}' if p.text else ''}"),
    ev.Overruled: (
        "decision",
        lambda p, j: f"{plain(p.name, 40)} overrules: {names.paths(p.paths)}, {plain(p.reason, 120)}",
    ),
    ev.SentBack: (
        "decision",
        lambda p, j: (
            f"{plain(p.name, 40)} asks for a clip with {names.clip(p.clip_kind)} at the "
            f"{names.point_name(p.point)}: {plain(p.reason, 120)}"
        ),
    ),
    ev.Signed: ("decision", lambda p, j: f"✓ signed by {plain(p.name, 40)}, {plain(p.role, 20)}"),
    ev.RoundSetAside: (
        "notes",
        lambda p, j: f"round {'set aside' if p.aside else 'counts again'}: {plain(p.reason, 120)}",
    ),
    ev.FindingRecorded: (
        "finding",
        lambda p, j: f"found: {names.paths(p.paths)}{f', {plain(p.text, 120)}' if p.text else ''}",
    ),
    ev.NoteAdded: ("notes", _note),
}
"""Step it belongs to, and its words."""


Key = tuple[str, str]


def conflicts(events: Iterable[ev.Event]) -> tuple[str, ...]:
    """One sentence for each thing that was said differently; the last of them counts, by the order of events.

    Whoever says it anew, having seen both, settles it. Decisions are not among these: see
    :mod:`listen.jobs.standing`.
    """
    open_: dict[Key, list[tuple[ev.Event, str]]] = {}
    for event in events:
        for key, words in _entered(event.payload).items():
            # Said anew by somebody who knew of it, it is settled; only what neither knew of stays beside it.
            unknown = [(one, told) for one, told in open_.get(key, ()) if not event.knew_of(one.place)]
            open_[key] = [*unknown, (event, words)]
    return tuple(
        f"{what[0].upper()}{what[1:]}{where} was entered differently by people who did not know of each other: "
        f"{' and '.join(_by(event, words) for event, words in told)}. The last one counts; enter it anew to settle it."
        for (what, where), told in open_.items()
        if len({words for _, words in told}) > 1
    )


def _by(event: ev.Event, words: str) -> str:
    return f"{words} ({event.actor or 'unnamed'}, {moment(event.time)})"


def _entered(payload: ev.Payload) -> dict[Key, str]:
    # Only what takes the place of what was said before: clips and notes stand beside each other.
    match payload:
        case ev.ReadingEntered():
            where = f" of cylinder {payload.cylinder}" if payload.cylinder is not None else ""
            return {(names.figure_name(payload.reading), where): figures.as_read(payload.value, payload.unit)}
        case ev.PlugSeen():
            return {("plug", f" of cylinder {payload.cylinder}"): names.plug_looks(payload.conditions)}
        case ev.FindingRecorded():
            return {("finding", f" at cylinder {payload.cylinder}"): names.paths(payload.paths)}
        case ev.EngineDescribed():
            return {("engine", ""): payload.engine.name or payload.engine.layout}
        case ev.BubblesLooked():
            return {("bubbles seen", f" in round {payload.round_id}"): payload.seen}
        case ev.AirFollowed():
            return {("needle followed the valve", f" in round {payload.round_id}"): payload.seen}
        case ev.TopFoundAgain():
            return {("loss at top dead centre found again", f" in round {payload.round_id}"): _again(payload)}
        case ev.JobNamed():
            new = {"title": payload.title, "complaint": payload.complaint, "pressure unit": payload.pressure_unit}
            return {(what, ""): value for what, value in new.items() if value is not None}
        case _:
            return {}
