"""What two machines said differently about one job without knowing of each other, until a person settles it."""

from collections.abc import Iterable

from listen.jobs import events as ev
from listen.voice import figures, names
from listen.voice.times import moment

Key = tuple[str, str]


def conflicts(events: Iterable[ev.Event]) -> tuple[str, ...]:
    """One sentence for each thing that was said differently; the last of them counts, by the order of events.

    Whoever says it anew, having seen both, settles it. Decisions are not among these: see
    :mod:`listen.jobs.standing`.
    """
    open_: dict[Key, list[tuple[ev.Event, str]]] = {}
    for event in events:
        for key, words in _said(event.payload).items():
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


def _said(payload: ev.Payload) -> dict[Key, str]:
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
        case ev.JobNamed():
            new = {"title": payload.title, "complaint": payload.complaint, "pressure unit": payload.pressure_unit}
            return {(what, ""): value for what, value in new.items() if value is not None}
        case _:
            return {}
