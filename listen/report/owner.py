"""The owner's page: what was found, how sure, what waiting means, what is next, who says so; no order to repair."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import msgspec

from listen.diagnosis.model import Candidate, Diagnosis, Fault
from listen.diagnosis.told import SURE
from listen.jobs.before_after import compare
from listen.jobs.job import Job
from listen.jobs.standing import Standing, latest_round, standing_of
from listen.report.content import Part, reading_in_words
from listen.report.owner_words import OwnerWords, sentence
from listen.trade.causes import causes, causes_of
from listen.trade.points import point as find_point

MOST_CHANGES = 2
"""Lines of before and after on the owner's page; the shop's part has them all."""
MOST_RIVALS = 3
ENGLISH = OwnerWords()


class OwnerFound(msgspec.Struct, frozen=True, kw_only=True):
    cause: str = ""
    """Identifier; empty where nothing can be named."""
    cylinders: tuple[int, ...] = ()
    says: str
    means: str
    sure: str = ""
    waits: str = ""
    """What leaving it would mean."""
    next: str = ""
    """What comes next and what it decides."""


@dataclass(frozen=True, slots=True)
class Behind:
    """What the page rests on beside the diagnosis."""

    job: Job
    rounds: Sequence[Part]
    days: str
    before: Job | None = None
    altered: int = 0
    """Clips that are not the recorded ones, or are gone."""
    broken: bool = False
    contact: str = ""


def owner_part(d: Diagnosis, behind: Behind, say: OwnerWords = ENGLISH) -> Part:
    """Put a diagnosis in the owner's words; what a person decided stands above the figures."""
    stand = (standing_of(behind.job, n) for n in behind.job.engine.cylinders)
    # What persons decided otherwise than the program, cylinder by cylinder.
    decided = [s for s in stand if s is not None and s.by == "person" and s.how == "overruled"]
    against = {(s.cylinder,): s for s in decided}
    named = d.faults if d.kind != "open" else ()
    faults = [f for f in named if f.cylinders not in against or _with(f, against[f.cylinders])]
    found = [_by_person(s, say) for s in decided if not any(_with(f, s) for f in faults)]
    found += [_found(f, say) for f in faults]
    if not found:
        found = [_open(d, say)]
    leading = found[0]
    heard = _heard(leading, behind, say)
    return {
        "language": say.language,
        "labels": {key: say.phrase(key) for key in LABELS},
        # What stands before everything else.
        "warnings": tuple(_warnings(d, behind, say)),
        "found": tuple(found),
        "not_looked": say.several(_not_looked(d, behind.job, say)),
        "heard": heard,
        "drawing": say.phrase("drawing", marked=_marked(found, say)),
        "changes": tuple(_changes(behind, say)),
        # What the teardown showed; empty where the engine was not opened.
        "opened": "; ".join(_opened(behind.job, say)),
        # Shop, days and tech; the supervisor's decision and the signature; how to reach them.
        "who": tuple(_who(leading, behind, say)),
        "note": say.phrase("no-order"),
    }


LABELS = (
    "title", "sure", "waits", "next", "not-looked", "before-after", "opened", "who", "reach", "shop-part"
)  # fmt: skip


def _with(f: Fault, s: Standing) -> bool:
    """Whether a fault says of this cylinder what the person said."""
    return s.cylinder in f.cylinders and any(f.cause in causes_of(p) for p in s.paths)


def _place(cause: str, cylinders: tuple[int, ...], say: OwnerWords) -> str:
    if len(cylinders) > 1:
        return say.phrase("between", cylinders=say.several(map(str, cylinders)))
    if cylinders:
        return say.phrase("cylinder", cylinders=cylinders[0])
    row = causes().get(cause)
    return say.phrase("unknown-place" if row and row.scope == "cylinder" and cause != "test-fault" else "whole")


def _found(f: Fault, say: OwnerWords) -> OwnerFound:
    rivals = [_name(r, say) for r in f.rivals[:MOST_RIVALS]]
    sure = say.named("sure", sure_word(f.probability))
    check = say.cause(f.cause, "next", f.next_check.means)
    if f.repeat_first or {r.cause for r in f.rivals} == {"test-fault"}:
        check = say.cause("test-fault", "next")
    elif rivals:
        check = say.phrase("decides", minutes=f.next_check.minutes, causes=say.several(rivals, "or"))
    return OwnerFound(
        cause=f.cause,
        cylinders=f.cylinders,
        says=f"{_place(f.cause, f.cylinders, say)}: {say.cause(f.cause, 'name', f.words)}.",
        means=say.cause(f.cause, "means", f.not_meant),
        sure=sentence(f"{sure}. {say.phrase('rivals', causes=say.several(rivals, 'or'))}" if rivals else sure),
        waits=say.cause(f.cause, "waits"),
        next=sentence(check),
    )


def sure_word(probability: float) -> str:
    """The name in the table of how sure; the classes are those of the diagnosis."""
    return next((name.replace(" ", "-") for floor, name in SURE if probability >= floor), "possible")


def _by_person(s: Standing, say: OwnerWords) -> OwnerFound:
    """What a person decided against the figures: their word, not a probability."""
    named = [named[0] for p in s.paths if (named := causes_of(p))]
    main = named[0] if named else "nothing-found" if s.kind == "sound" else ""
    names = say.several(say.cause(c, "name") for c in named) if named else say.cause(main, "name")
    return OwnerFound(
        cause=main,
        cylinders=(s.cylinder,),
        says=f"{_place(main, (s.cylinder,), say)}: {names or say.phrase('open')}.",
        means=say.cause(main, "means", say.phrase("open-means")),
        sure=sentence(_word_of(s, say)),
        waits=say.cause(main, "waits"),
        next=sentence(say.cause(main or "test-fault", "next")),
    )


def _open(d: Diagnosis, say: OwnerWords) -> OwnerFound:
    if d.kind != "open" or not d.faults:
        key = "empty" if d.kind == "nothing-entered" else "open"
        return OwnerFound(says=f"{say.phrase(key)}.", means=say.phrase(f"{key}-means"))
    leading, check = d.faults[0], d.faults[0].next_check
    others = [_name(c, say) for c in leading.rivals[: MOST_RIVALS - 1]]
    decides = say.phrase("decides", minutes=check.minutes, causes=say.several(others, "or")) if others else check.means
    first = [say.cause(leading.cause, "name", leading.words), *others]
    return OwnerFound(
        says=f"{say.phrase('open')}.",
        means=say.phrase("open-means"),
        sure=sentence(say.phrase("rivals", causes=say.several(first, "or"))),
        next=sentence(decides),
    )


def _name(c: Candidate, say: OwnerWords) -> str:
    return say.cause(c.cause, "name", c.words)


def _warnings(d: Diagnosis, behind: Behind, say: OwnerWords) -> Iterable[str]:
    """What stands before everything else."""
    if behind.altered:
        yield say.phrase("altered", count=behind.altered)
    if behind.broken:
        yield say.phrase("record-broken")
    if d.stop_for:
        names = [say.cause(c, "name", causes()[c].words) for c in d.stop_for[:MOST_RIVALS]]
        yield say.phrase("stop", causes=say.several(names, "or"))
    if behind.job.simulated:
        yield say.phrase("simulated")


def _not_looked(d: Diagnosis, job: Job, say: OwnerWords) -> list[str]:
    phrases = [say.named("test", t.test, t.words) for t in d.tests if not t.made]
    listened = next((t.cylinders for t in d.tests if t.test == "listening" and t.made), ())
    if listened and (missing := [n for n in job.engine.cylinders if n not in listened]):
        phrases.append(say.phrase("listening-on", cylinders=say.several(map(str, missing))))
    if not job.findings:
        phrases.append(say.phrase("inside"))
    return phrases or [say.phrase("nothing-left")]


def _marked(found: Iterable[OwnerFound], say: OwnerWords) -> str:
    cylinders = sorted({n for f in found for n in f.cylinders})
    if not cylinders:
        return say.phrase("marked-none")
    key = "between" if len(cylinders) > 1 else "cylinder"
    return say.phrase(key, cylinders=say.several(map(str, cylinders)))


def _heard(leading: OwnerFound, behind: Behind, say: OwnerWords) -> Part | None:
    """The point that decided: of the points with both clips the one that weighs most for the path found."""
    record = next((r for n in leading.cylinders if (r := latest_round(behind.job, n)) and r.verdict), None)
    part = next((p for p in behind.rounds if record and p["id"] == record.id), None)
    if record is None or record.verdict is None or part is None:
        return None
    row = causes().get(leading.cause)
    weights = [p.evidence_db for p in record.verdict.result.paths if row and p.path in row.paths]
    there = [p for p in part["points"] if p["quiet_clip"] and p["air_clip"] and p["excess_db"] is not None]
    if not there or not weights:
        return None
    chosen = max(there, key=lambda p: (max(w.get(p["point"], 0.0) for w in weights), p["excess_db"] or 0.0))
    where = say.named("point", find_point(chosen["point"]).row.id, chosen["words"])
    return {
        "round_id": part["id"],
        "point": chosen["point"],
        # Its caption; the place for seconds is filled with the length of each clip as it is heard.
        "words": say.phrase("hear", point=where, cylinder=record.cylinder, seconds="{seconds}"),
        "quiet_clip": chosen["quiet_clip"],
        "air_clip": chosen["air_clip"],
    }


def _changes(behind: Behind, say: OwnerWords) -> Iterable[str]:
    if behind.before is None:
        return
    rows = [(c.cylinder, x) for c in compare(behind.before, behind.job).cylinders for x in c.changes]
    known = [(n, x) for n, x in rows if x.what in ("loss", "compression-dry") and x.difference is not None]
    known.sort(key=lambda row: (not row[1].beyond, -abs(row[1].difference or 0.0) / (row[1].uncertainty or 1.0)))
    for n, x in known[:MOST_CHANGES]:
        before, after = (reading_in_words(j.reading(x.what, n)) for j in (behind.before, behind.job))
        told = say.phrase("changed-from", cylinder=n, what=say.phrase(x.what), before=before, after=after)
        yield sentence(f"{told} ({say.phrase('beyond' if x.beyond else 'not-beyond')})")


def _opened(job: Job, say: OwnerWords) -> Iterable[str]:
    for n, finding in sorted(job.findings.items()):
        named = say.several(say.named("path", p) for p in finding.paths)
        told = f"{say.phrase('cylinder', cylinders=n)}: {named or say.named('path', 'unclear')}"
        yield f"{told} ({finding.text})" if finding.text else told


def _who(leading: OwnerFound, behind: Behind, say: OwnerWords) -> Iterable[str]:
    job = behind.job
    shop = job.shop or say.phrase("shop-nobody")
    tech = say.phrase("by", name=job.people.get("tech") or say.phrase("nobody"))
    yield sentence(f"{shop}, {say.phrase('tested')} {behind.days} {tech}")
    standing = next((s for n in leading.cylinders if (s := standing_of(job, n)) is not None), None)
    yield sentence(_stands_behind(standing, behind, say))
    contact = behind.contact or job.details.get("reach-us") or job.people.get("contact") or say.phrase("ask-shop")
    yield sentence(f"{say.phrase('reach')}: {contact}")


def _stands_behind(s: Standing | None, behind: Behind, say: OwnerWords) -> str:
    if s is None:
        return say.phrase("undecided")
    part = next((p for p in behind.rounds if p["id"] == s.round_id), None)
    signed = part["signature_checks"][-1]["state"] if part and part["signature_checks"] else None
    parts = [_word_of(s, say), say.phrase(f"signed-{signed}" if signed else "unsigned")]
    return "; ".join([*parts, say.phrase("changed-since")] if signed and s.changed else parts)


def _word_of(s: Standing, say: OwnerWords) -> str:
    if s.disputed:
        return say.phrase("disputed")
    if not s.how:
        return say.phrase("undecided")
    paths = s.paths or ("none" if s.kind == "sound" else "unclear",)
    what = say.several(say.named("path", p) for p in paths)
    word = say.phrase(s.how, name=s.name, what=what)
    return f"{word}; {say.phrase('own-work')}" if s.own_work else word
