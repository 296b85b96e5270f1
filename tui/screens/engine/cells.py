"""What the cells of the engine's table say, all of it together, and the boxes of its drawing."""

from listen.jobs.engine_case import dry_shares, heard_before, loss_then, under_way, wet_rise_kpa
from listen.jobs.events import ReadingEntered
from listen.jobs.job import Job, RoundRecord
from listen.jobs.standing import Standing, latest_round, standing
from listen.trade.engine import Engine
from listen.trade.points import PathId
from listen.trade.units import Unit, show, unit_named
from listen.voice import figures, names, verdicts
from listen.voice.figures import UNKNOWN
from listen.voice.text import plain

READS = {"dry": "compression-dry", "wet": "compression-wet", "loss": "loss"}
"""What is typed into a column."""


def texts(n: int, job: Job) -> dict[str, str]:
    """What the row of cylinder ``n`` shows, by column."""
    unit, share, rise = unit_named(job.pressure_unit), dry_shares(job).get(n), wet_rise_kpa(job, n)
    dry, wet, loss = (job.reading(READS[column], n) for column in ("dry", "wet", "loss"))
    return {
        "cylinder": str(n),
        "dry": _pressure(dry, unit),
        "share": UNKNOWN if share is None else f"{share * 100:.0f}",
        "wet": _pressure(wet, unit),
        "rise": UNKNOWN if rise is None else _signed(rise, unit),
        "loss": UNKNOWN if loss is None else f"{loss.value:g}",
        "plug": plug_words(n, job),
        "verdict": verdict_forms(n, job)[0],
    }


def plug_words(n: int, job: Job) -> str:
    return names.plug_looks(job.plugs[n].conditions, between=", ") if n in job.plugs else UNKNOWN


def _signed(kpa: float, unit: Unit) -> str:
    text = _bare(abs(kpa), unit)
    return f"{'+' if kpa >= 0 else '−'}{text}"


def _pressure(reading: ReadingEntered | None, unit: Unit) -> str:
    return UNKNOWN if reading is None else _bare(reading.si, unit)


def _bare(kpa: float, unit: Unit) -> str:
    """Without its unit, which stands in the column's head."""
    return show(kpa, unit).removesuffix(f" {unit}")


def verdict_forms(n: int, job: Job) -> tuple[str, ...]:
    """What stands for a cylinder, glyph first, from the longest words to the shortest.

    A person's decision stands above the program's verdict; one on another loss than the table shows says on which.
    """
    record = latest_round(job, n)
    if record is None:
        return ("– not tested",)
    stand = standing(record)
    if stand.by == "nobody":
        clips = _clips(record)
        return (f"◌ round begun, {clips}", f"◌ begun, {clips}", f"◌ {clips}")
    decided = {"overruled": f", says {stand.name}", "agreed": "", "sent-back": f", sent back by {stand.name}"}
    more = decided.get(stand.how, "") + (" ✓ signed" if record.signed else "")
    more += ", ! changed since" if record.changed_after_signing else ""
    more += " (clips or readings changed since)" if stand.stale else ""
    mark = (" ✓" if record.signed else "") + (" !" if record.changed_after_signing or stand.stale else "")
    mark += " ↩" if stand.how == "sent-back" else ""
    if (then := loss_then(job, record)) is not None:
        more, mark = f"{more}, {heard_before(job, record)}", f"{mark} (at loss {then:g} %)"
    glyph = verdicts.glyph(stand.kind)
    return tuple(f"{glyph} {words}{end}" for words in (_said(stand), _said(stand, short=True)) for end in (more, mark))


def _clips(record: RoundRecord) -> str:
    return figures.counted(len(record.live_clips()), "clip")


def _said(stand: Standing, *, short: bool = False) -> str:
    """The verdict that stands; a person's word has no probability."""
    if stand.probability is not None:
        return verdicts.verdict(stand.kind, stand.paths, stand.probability, short=short)
    word = names.short_path if short else names.path
    return (" + " if short else " and ").join(map(word, stand.paths)) or verdicts.kind_words(stand.kind)


def standing_forms(record: RoundRecord | None) -> tuple[str, ...]:
    """The paths alone, for a box of the drawing; empty where nothing fits (the table tells)."""
    if record is None:
        return ("",)
    stand = standing(record)
    if stand.by == "nobody":
        return ("round begun", "begun", "")
    if not stand.paths:
        return (verdicts.kind_words(stand.kind), "?" if stand.kind == "unclear" else "", "")
    return (*("+".join(map(word, stand.paths)) for word in (names.path, names.short_path)), stand.kind, "")


def in_full(n: int, job: Job) -> str:
    """Everything the table may have had to shorten, for the cylinder one is on."""
    parts = [f"Cylinder {n}: {verdict_forms(n, job)[0]}"]
    if (begun := under_way(job, n)) is not None:
        parts.append(f"◌ another round begun, {_clips(begun)}: r goes on with it")
    if (share := dry_shares(job).get(n)) is not None:
        parts.append(f"dry {figures.share(share)} of the highest")
    if n in job.plugs:
        parts.append(f"plug {plug_words(n, job)}")
    if (found := job.findings.get(n)) is not None:
        parts.append(f"found at teardown: {names.paths(found.paths)}")
    return " · ".join(parts)


def finding_choices(engine: Engine) -> list[tuple[str, str]]:
    not_there = {PathId.NEXT_CYLINDER} if len(engine.cylinders) == 1 else set()
    not_there |= {PathId.COOLANT_PASSAGE} if engine.cooling == "air" else set()
    paths = [p for p in PathId if p not in {PathId.SET_UP, PathId.FITTING, *not_there}]
    return [(p.value, "sound: nothing wrong" if p is PathId.NONE else names.path(p)) for p in paths]


def summary(job: Job) -> str:
    """What the whole table says."""
    unit, shares = unit_named(job.pressure_unit), dry_shares(job).values()
    read = any(job.reading(name, n) for name in READS.values() for n in job.engine.cylinders)
    parts = [f"Pressures in {unit}.", *([] if read else ["Type a figure on a cell and press Enter; r begins a round."])]
    if len(shares) > 1:
        parts.append(
            f"Lowest dry reading is {figures.share(min(shares))} of the highest (rule of thumb: at least 75 %)."
        )
    if not job.symptoms_asked:
        parts.append("Symptoms not asked yet (s Facts).")
    elif not job.symptoms_of():
        parts.append("Symptoms asked: none.")
    if job.troubles:
        parts.append(f"! {plain(job.troubles[-1])}")
    return " ".join(parts)
