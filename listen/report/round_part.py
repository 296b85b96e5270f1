"""One round of a job as the report shows it."""

from collections.abc import Iterator, Mapping

from listen.jobs.decision import Decision
from listen.jobs.event_words import event_words
from listen.jobs.events import StepPassed
from listen.jobs.hearing import pair_at
from listen.jobs.job import ClipRecord, Job, RoundRecord
from listen.jobs.reference import covers
from listen.jobs.top_again import loss_stays
from listen.jobs.walk import round_points, table
from listen.judge.result import PathResult, PointResult
from listen.report.content import Part, reading_in_words
from listen.report.kept_parts import in_words
from listen.trade.cautions import cautions, cautions_for
from listen.trade.points import point as find_point
from listen.voice import figures, names, times

LEAST_DB = 0.05
"""Weights smaller than this show as nothing and are left out."""


def round_part(
    job: Job, record: RoundRecord, signatures: tuple[Part, ...] = (), files: Mapping[str, str] | None = None
) -> Part:
    """Everything of one round, in words and figures.

    ``signatures`` are those under it, checked; ``files`` says of each clip whether its file ``matches`` the record.
    """
    files = files or {}
    judged = record.verdict
    result = judged.result if judged else None
    by_point = {p.point: p for p in result.points} if result else {}
    ids = list(dict.fromkeys([*(p.id for p in round_points(job, record)), *by_point]))
    return {
        "id": record.id,
        "cylinder": record.cylinder,
        "title": record.title,
        "opened": times.moment_and_zone(record.opened),
        "settings": _settings(job, record),
        "cautions": tuple(_caution(c) for c in record.cautions),
        "points": tuple(_point(record, point, by_point.get(point), files) for point in ids),
        "paths": tuple(_path(p) for p in result.likeliest) if result else (),
        "verdict": result.verdict.text if result else "Not judged.",
        "next": result.verdict.next if result else "",
        "judged_by": " ".join((f"Hissway {judged.version}, {len(judged.clips)} clips.", *judged.result.learnt))
        if judged
        else "",
        "calls": tuple(event_words(c, job) for c in record.calls),
        "decisions": tuple(_decision(job, d) for d in record.decisions),
        "signatures": (
            *(in_words(s) for s in signatures),
            *((covers(job, record),) if record.signed and not record.changed_after_signing else ()),
        ),
        # The same, taken apart.
        "signature_checks": signatures,
        # Bad signatures, a stale result, changes after signing, steps left out.
        "warnings": (
            *(f"Signature of {s['name']}: {s['held_by']}." for s in signatures if s["state"] == "bad"),
            *_warnings(job, record),
        ),
        "notes": tuple(_notes(job, record)),
    }


def _settings(job: Job, record: RoundRecord) -> tuple[tuple[str, str], ...]:
    supply, restrictor, loss = (
        reading_in_words(job.reading_for(name, record, job_wide=name != "loss"))
        for name in ("supply", "restrictor", "loss")
    )
    bubbles = {"yes": "seen", "no": "none seen", "not-looked": "not looked"}.get(record.bubbles, figures.UNKNOWN)
    again = f"loss {figures.as_read(record.loss_again or 0.0, 'percent')}, as before"
    stays = (("Top dead centre found again", again),) if loss_stays(job, record) else ()
    return (
        ("Supply pressure", supply),
        ("Restrictor", restrictor),
        ("Loss", loss),
        ("Bubbles", bubbles),
        *stays,
    )


def _caution(caution_id: str) -> str:
    for row in cautions():
        if row.id == caution_id:
            return row.words
    steps = next((row.cautions for row in table() if caution_id in (row.id, *row.cautions)), ())
    if not steps:
        return f"{caution_id!r}, a caution this version does not know"
    marks = ", ".join(f'"{step.replace("-", " ")}"' for step in steps)
    return f"the {len(cautions_for(*steps))} cautions marked {marks} in the list below, read before air went on"


def _point(record: RoundRecord, point: str, p: PointResult | None, files: Mapping[str, str]) -> Part:
    skip = record.skip(point, "air") or record.skip(point, "switched")
    switched = len(pair := pair_at(record, point)) == 1
    kinds = ("switched",) if switched else ("quiet", "air")
    clips = {kind: found for kind in kinds if (found := _last(record, point, kind))}
    ids = {kind: clip.id for kind, clip in clips.items()}
    interval = p.excess_ci95_db if p else None
    return {
        "point": point,
        "words": names.point_name(point),
        "excess_db": p.excess_db if p else None,
        "low_db": interval[0] if interval else None,
        "high_db": interval[1] if interval else None,
        "limit_db": p.would_see_db if p else None,
        "detected": bool(p and p.detected),
        "level": _level(p),
        "drift_db": p.drift_db if p else None,
        "bubbles": f"{p.bubbles_per_s.quiet:.1f} quiet, {p.bubbles_per_s.air:.1f} air, a second"
        if p and find_point(p.point).holds_coolant
        else "",
        "says": _says(p, skip.reason if skip else ""),
        "flags": tuple(f.text for f in p.flags) if p else (),
        # Those to hear, empty where there is none; twice the same where one switched take holds both.
        "quiet_clip": ids.get(kinds[0], ""),
        "air_clip": ids.get(kinds[-1], ""),
        # When the air of a switched take was commanded on and off, seconds from its start.
        "on_s": pair[0].kept.on_s if switched else (),
        # Which of the two is not the clip that was recorded.
        "not_as_recorded": _not_as_recorded(clips, files),
        "skipped": skip.reason if skip else "",
    }


def _not_as_recorded(clips: Mapping[str, ClipRecord], files: Mapping[str, str]) -> str:
    faults = {"differs": "is not the one recorded: its file was changed", "missing": "is gone"}
    wrong = [f"the {kind} clip {faults[files[c.id]]}" for kind, c in clips.items() if files.get(c.id) in faults]
    return f"{' and '.join(wrong)}; what is heard and drawn here is not the record".capitalize() + "." if wrong else ""


def _last(record: RoundRecord, point: str, kind: str) -> ClipRecord | None:
    """The clip to hear: the latest in use of that kind, of the closing walk only where there is no other."""
    found = [c for c in record.live_clips(point) if c.kept.clip_kind == kind]
    return next((c for c in reversed(found) if c.kept.walk != "closing"), found[-1] if found else None)


def _level(p: PointResult | None) -> str:
    if p is None or p.level_db is None:
        return figures.UNKNOWN
    return f"{'at most ' if p.level_is_upper_bound else ''}{figures.number(p.level_db, sign=True)} {p.level_unit}"


def _says(p: PointResult | None, skipped: str) -> str:
    if p is None:
        return f"Not recorded{': ' + skipped.rstrip('.') if skipped else ''}."
    if p.excess_db is None:
        return "Could not be measured; the flags say why."
    if p.detected:
        return f"Hiss heard, {figures.decibels(p.excess_db)} against the shop's own noise."
    limit = p.would_see_db
    seen = "" if limit is None else f"; {figures.decibels(limit, sign=False)} would have been seen"
    return f"Nothing found{seen}."


def _path(p: PathResult) -> Part:
    moved = sorted(p.evidence_db.items(), key=lambda item: -abs(item[1]))
    return {
        "words": names.paths((p.path,)),
        # That it is at work, alone or with another.
        "probability": max(p.involved, p.probability),
        # What moved it, in decibans.
        "evidence": tuple((names.source(k), round(v, 1)) for k, v in moved if abs(v) >= LEAST_DB),
    }


def _decision(job: Job, d: Decision) -> str:
    blind = ", after calling by ear blind" if d.payload.blind else ""
    own = "; whoever decided had recorded the round" if d.own_work else ""
    return f"{times.moment_and_zone(d.event.time)}: {event_words(d.payload, job)}{blind}{own}"


def _notes(job: Job, record: RoundRecord) -> Iterator[str]:
    for n in job.notes:
        if getattr(n.payload, "round_id", "") == record.id:
            yield event_words(n.payload, job)


def _warnings(job: Job, record: RoundRecord) -> Iterator[str]:
    if record.stale:
        yield "Clips or readings changed after this result was computed; judge the round again."
    yield from (f"After signing: {change.sentence}" for change in record.changes)
    for step, reason in record.steps_left_out.items():
        words = event_words(StepPassed(round_id=record.id, step=step, reason=reason), job)
        yield f"{words[:1].upper()}{words[1:]}"
