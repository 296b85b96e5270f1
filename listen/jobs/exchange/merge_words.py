"""What two machines said differently about one job since they parted, in words for whoever decides."""

from __future__ import annotations

from listen.jobs import events as ev
from listen.jobs.folder.journal import Line

Said = dict[tuple[str, str], str]


def differences(ours: tuple[Line, ...], theirs: tuple[Line, ...]) -> str:
    """One sentence for each thing both sides changed and left different; what came in counts."""
    here, there = _said(ours), _said(theirs)
    both = [key for key in here if key in there and here[key] != there[key]]
    return " ".join(
        f"Both machines changed the {what}{where}: {here[what, where]} here, {there[what, where]} came in and counts."
        for what, where in both
    )


def _said(lines: tuple[Line, ...]) -> Said:
    said: Said = {}
    for line in lines:
        said.update(_of(line.event.payload))
    return said


def _of(payload: ev.Payload) -> Said:
    match payload:
        case ev.ReadingEntered():
            where = f" of cylinder {payload.cylinder}" if payload.cylinder is not None else ""
            return {(payload.reading.replace("-", " "), where): f"{payload.value:g} {payload.unit}"}
        case ev.PlugSeen():
            return {("plug", f" of cylinder {payload.cylinder}"): ", ".join(payload.conditions)}
        case ev.FindingRecorded():
            return {("finding", f" at cylinder {payload.cylinder}"): ", ".join(payload.paths)}
        case ev.EngineDescribed():
            return {("engine", ""): payload.engine.name or payload.engine.layout}
        case ev.BubblesLooked():
            return {("bubbles seen", f" in round {payload.round_id}"): payload.seen}
        case ev.Confirmed() | ev.Overruled() | ev.SentBack():
            return {("decision", f" on round {payload.round_id}"): ev.KIND_OF[type(payload)].replace("-", " ")}
        case _:
            return {}
