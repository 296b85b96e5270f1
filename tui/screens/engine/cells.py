"""The cells of the engine's table: what each shows, what can be typed into it, and the event that keeps it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rich.cells import cell_len

from listen.errors import HisswayError
from listen.jobs.events import FindingRecorded, Payload, PlugSeen, ReadingEntered
from listen.trade.plugs import plugs
from listen.trade.points import PathId
from listen.trade.readings import Question, ask_loss, ask_pressure, ask_wet
from listen.trade.units import Pressure, Unit, read_pressure, show, unit_named
from listen.voice import names, verdicts
from tui.figures import figure
from tui.words import UNKNOWN, number, percent_plain

if TYPE_CHECKING:
    from listen.jobs.job import Job, RoundRecord
    from listen.jobs.table import CylinderRow

PENS = {"path": "bad", "several": "bad", "sound": "sure", "fitting": "warn", "set-up": "warn", "unclear": "warn"}


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the table."""

    id: str
    head: str
    width: int
    typed: bool = False
    """Figures are typed into it."""


COLUMNS = (
    Column("cylinder", "Cyl", 3),
    Column("dry", "Dry {unit}", 7, True),
    Column("share", "% max", 5),
    Column("wet", "Wet {unit}", 7, True),
    Column("rise", "Rise", 5),
    Column("loss", "Loss %", 6, True),
    Column("plug", "Plug", 0),
    Column("verdict", "Verdict", 0),
)
MOST_PLUG = 16
"""Columns of the plug where the table has few; longer words break into lines."""


def widths(columns: int, plugs: list[str]) -> dict[str, int]:
    """Width of every column: plug and verdict share what the figures leave."""
    taken = {c.id: c.width for c in COLUMNS}
    rest = columns - sum(taken.values())
    wanted = max([len("Plug"), *(cell_len(p) for p in plugs)])
    taken["plug"] = min(wanted, max(MOST_PLUG, rest // 2))
    return taken | {"verdict": max(rest - taken["plug"], 12)}


def texts(row: CylinderRow, job: Job) -> dict[str, str]:
    """What stands in each cell."""
    unit = unit_named(job.pressure_unit)
    return {
        "cylinder": str(row.cylinder),
        "dry": _pressure(row.dry, unit),
        "share": UNKNOWN if row.share_of_highest is None else f"{row.share_of_highest * 100:.0f}",
        "wet": _pressure(row.wet, unit),
        "rise": UNKNOWN if row.wet_rise_kpa is None else _signed(row.wet_rise_kpa, unit),
        "loss": UNKNOWN if row.loss is None else number(row.loss.si, 0),
        "plug": plug_words(row),
        "verdict": verdict_words(row.round),
    }


def plug_words(row: CylinderRow) -> str:
    """How the plug looked."""
    return UNKNOWN if row.plug is None else ", ".join(names.plug_look(c) for c in row.plug.conditions)


def _signed(kpa: float, unit: Unit) -> str:
    text = _bare(abs(kpa), unit)
    return f"{'+' if kpa >= 0 else '−'}{text}"


def _pressure(reading: ReadingEntered | None, unit: Unit) -> str:
    return UNKNOWN if reading is None else _bare(reading.si, unit)


def _bare(kpa: float, unit: Unit) -> str:
    """Without its unit, which stands in the column's head."""
    return show(kpa, unit).removesuffix(f" {unit}")


def verdict_words(record: RoundRecord | None) -> str:
    """How a cylinder's latest round stands, glyph first, in full."""
    return verdict_forms(record)[0]


def verdict_forms(record: RoundRecord | None) -> tuple[str, ...]:
    """The same from the longest words to the shortest."""
    if record is None:
        return ("– not tested",)
    if record.verdict is None:
        clips = len(record.live_clips())
        return (f"◌ round begun, {clips} clips", f"◌ begun, {clips} clips", f"◌ {clips} clips")
    said = record.verdict.result.verdict
    long, short = (verdicts.verdict(said.kind, said.paths, said.probability, short=s) for s in (False, True))
    told = " ✓ signed" if record.signed else ""
    told += ", ! changed since" if record.changed_after_signing else ""
    told += " (clips or readings changed since)" if record.stale else ""
    mark = (" ✓" if record.signed else "") + (" !" if record.changed_after_signing or record.stale else "")
    return tuple(f"{verdicts.glyph(said.kind)} {words}{end}" for words in (long, short) for end in (told, mark))


def standing_forms(record: RoundRecord | None) -> tuple[str, ...]:
    """The paths alone, for a box of the drawing; empty where nothing fits (the table tells)."""
    if record is None:
        return ("",)
    if record.verdict is None:
        return ("round begun", "begun", "")
    said = record.verdict.result.verdict
    if not said.paths or said.kind == "unclear":
        return ("cannot tell", "?", "")
    return (*("+".join(map(word, said.paths)) for word in (names.path, names.short_path)), said.kind, "")


def in_full(row: CylinderRow, job: Job) -> str:
    """Everything the table may have had to shorten, for the cylinder one is on."""
    parts = [f"Cylinder {row.cylinder}: {verdict_words(row.round)}"]
    if row.share_of_highest is not None:
        parts.append(f"dry {percent_plain(row.share_of_highest)} of the highest")
    if row.plug is not None:
        parts.append(f"plug {plug_words(row)}")
    if (found := job.findings.get(row.cylinder)) is not None:
        parts.append(f"found at teardown: {names.paths(found.paths)}")
    return " · ".join(parts)


def keep(column: str, text: str, cylinder: int, job: Job) -> tuple[Payload, tuple[Question, ...]]:
    """The event for a typed figure, and the doubts to ask about first; raises where it is no such figure."""
    if column == "loss":
        loss = figure(text, "loss in percent")
        if not 0 <= loss <= 100:
            raise HisswayError(f"loss {loss:g} %: from 0 to 100 can be; enter the percentage lost")
        return _event("loss", loss, "percent", loss, cylinder), ask_loss(loss)
    entry = read_pressure(text, unit_named(job.pressure_unit))
    if column == "dry":
        doubts = ask_pressure(entry, "dry", mates_kpa=_mates("compression-dry", cylinder, job))
    else:
        dry = job.reading("compression-dry", cylinder)
        doubts = ask_pressure(entry, "wet", mates_kpa=_mates("compression-wet", cylinder, job))
        doubts += ask_wet(Pressure(dry.si, "kPa"), entry) if dry else ()
    return _event(f"compression-{column}", entry.value, entry.unit, entry.kpa, cylinder), doubts


def _mates(reading: str, cylinder: int, job: Job) -> list[float]:
    return [r.si for n in job.engine.cylinders if n != cylinder and (r := job.reading(reading, n))]


def _event(name: str, value: float, unit: str, si: float, cylinder: int) -> ReadingEntered:
    return ReadingEntered(reading=name, value=value, unit=unit, si=si, cylinder=cylinder)


def plug_choices() -> list[tuple[str, str, str]]:
    """Identifier, words and look of every plug condition."""
    return [(p.id, p.words, p.look) for p in plugs()]


def plug_event(cylinder: int, condition: str) -> PlugSeen:
    """The event of a plug condition."""
    return PlugSeen(cylinder=cylinder, conditions=(condition,))


def finding_event(cylinder: int, paths: tuple[str, ...], by: str) -> FindingRecorded:
    """The event of a finding at teardown."""
    return FindingRecorded(cylinder=cylinder, paths=paths, found_by=by)


def finding_choices() -> list[tuple[str, str]]:
    """What a teardown may show."""
    paths = [p for p in PathId if p not in (PathId.SET_UP, PathId.FITTING)]
    return [(p.value, "sound: nothing wrong" if p is PathId.NONE else names.path(p)) for p in paths]
