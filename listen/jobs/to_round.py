"""A job's round as the files and facts that the judge reads, and the event that stores what it says."""

import math
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from statistics import median

from listen.errors import RoundError
from listen.jobs.events import Judged
from listen.jobs.folder.parts import clip_file
from listen.jobs.job import ClipRecord, Job, RoundRecord
from listen.jobs.reference import engine_said, references
from listen.jobs.top_again import loss_stays
from listen.judge.result import RoundResult
from listen.rounds.model import Facts, Round, Take
from listen.trade.engine import points_for
from listen.trade.points import Kind, point
from listen.trade.units import MOST_KPA

LEAST_KPA = 1.0
"""A gauge that does not move is entered as 0; the judge takes logarithms, so it is handed on as 1 kPa."""

SINE_CREST_DB = 3.0103
"""A calibration states the level of a full-scale sine, whose mean square is one half; levels are of mean squares."""
MOST_FULL_SCALE_DB = 250.0
"""Beyond this a calibration is a slip of the pen; the loudest measuring microphones take about 180 dB SPL."""

BUBBLES = {"yes": True, "no": False}


AS_SOUND = {Kind.AIR: Kind.SOUND, Kind.SOUND: Kind.SOUND, Kind.SWITCHED: Kind.SWITCHED_SOUND}


def to_round(job: Job, round_id: str, folder: Path) -> Round:
    """Gather a round's clips in use, its sound-cylinder references and its facts; ``folder`` is the job's.

    Raises RoundError: no such round, no clips, or a reading outside what can be."""
    if (record := job.find_round(round_id)) is None:
        raise RoundError(f"round {round_id!r}: this job has no such round")
    own, lent = _clips(job, round_id)
    if not own:
        raise RoundError(f"cylinder {record.cylinder}, round {round_id}: holds no clips yet; record the walks first")
    # Numbered as kept: of two takes at a point the judge knows which came first.
    takes = [_take(c, _kind(c), n, folder) for n, c in enumerate(own, 1)]
    sound = [_take(c, AS_SOUND[_kind(c)], 1, folder) for c in lent]
    name = f"{job.title}, cylinder {record.cylinder}"
    return Round(name, (*takes, *sound), facts(job, record), engine_said(job, round_id))


def _clips(job: Job, round_id: str) -> tuple[list[ClipRecord], list[ClipRecord]]:
    """The round's own clips in use, and those of a sound cylinder at the same points."""
    # Its sound cylinder's clips come back through the references, which know which of them counts.
    own = [c for c in job.round(round_id).live_clips() if c.kept.clip_kind != Kind.SOUND]
    points = {c.kept.point for c in own}
    return own, [c for p, c in sorted(references(job, round_id).items()) if p in points]


def clips_used(job: Job, round_id: str) -> tuple[str, ...]:
    """Ids of all clips that :func:`to_round` hands to the judge, references included."""
    own, lent = _clips(job, round_id)
    return tuple(c.id for c in (*own, *lent))


def facts(job: Job, record: RoundRecord) -> Facts:
    """What was read beside the clips. The round's own reading counts before the cylinder's, before the job's."""
    n = record.cylinder

    def read(reading: str, *, job_wide: bool = False) -> float | None:
        found = job.reading_for(reading, record, job_wide=job_wide)
        return None if found is None else found.si

    # The median below: one of them that leaks as well is not what is usual.
    others = [r.si for m in job.engine.cylinders if m != n and (r := job.reading("loss", m))]
    return Facts(
        loss_percent=_within(read("loss"), "loss", 100.0),
        supply_kpa=_pressure(read("supply", job_wide=True), "supply"),
        restrictor_mm=_within(read("restrictor", job_wide=True), "restrictor", 20.0),
        cylinder=n,
        bubbles_seen=BUBBLES.get(record.bubbles),
        top_found_again=loss_stays(job, record) or None,
        air_followed=BUBBLES.get(record.air_followed),
        compression_dry_kpa=_pressure(read("compression-dry"), "dry compression"),
        compression_wet_kpa=_pressure(read("compression-wet"), "wet compression"),
        loss_others_percent=_within(median(others) if others else None, "loss of the others", 100.0),
        firing_order=job.engine.firing_order or None,
        cylinders=len(job.engine.cylinders),
        points=tuple(p.id for p in points_for(job.engine, n)),
        calibration_db=_calibration_db(job, record),
    )


def _calibration_db(job: Job, record: RoundRecord) -> float | None:
    """From mean square to sound pressure level, where every clip of the round came through one calibrated input."""
    devices = {c.kept.device for c in record.live_clips()}
    # Through two inputs, one of them not calibrated, a round would have levels in two units.
    full_scale = job.calibrations.get(devices.pop()) if len(devices) == 1 else None
    if full_scale is None or not math.isfinite(full_scale) or abs(full_scale) > MOST_FULL_SCALE_DB:
        return None
    return full_scale + SINE_CREST_DB


def _kind(clip: ClipRecord) -> Kind:
    try:
        return Kind(clip.kept.clip_kind)
    except ValueError:
        raise RoundError(
            f"clip {clip.id}: unknown kind {clip.kept.clip_kind[:40]!a}; expected {', '.join(Kind)}; take it back"
        ) from None


def _take(clip: ClipRecord, kind: Kind, order: int, folder: Path) -> Take:
    if (file := clip_file(folder, clip.id)) is None:
        raise RoundError(f"{folder}: {clip.id!r} is not a clip id; the journal was not written by this program")
    return Take(point(clip.kept.point).id, kind, order, file, together=clip.kept.together, on_s=clip.kept.on_s)


def _within(value: float | None, what: str, most: float) -> float | None:
    if value is not None and not 0.0 <= value <= most:
        raise RoundError(f"{what} {value:g}: from 0 to {most:g} can be; correct the reading")
    return value


def _pressure(value: float | None, what: str) -> float | None:
    checked = _within(value, what, MOST_KPA)
    return None if checked is None else max(checked, LEAST_KPA)


def judged(job: Job, round_id: str, result: RoundResult) -> Judged:
    """Make the event for a result just computed from ``to_round(job, round_id, ...)`` of this same job."""
    return Judged(round_id=round_id, result=result, clips=clips_used(job, round_id), version=program_version())


def program_version() -> str:
    """Version of the program, empty where it runs uninstalled."""
    try:
        return version("hissway")
    except PackageNotFoundError:
        return ""
