"""What a job keeps, as a reader meets it: clips and signatures, each checked, and photos."""

import base64
from contextlib import suppress
from pathlib import Path

from listen.durable import sha256_of
from listen.jobs.events import Signed
from listen.jobs.exchange.keys import fingerprint
from listen.jobs.exchange.sign import check_signatures
from listen.jobs.folder.chain import Chain
from listen.jobs.folder.parts import clip_file
from listen.jobs.job import ClipRecord, Job
from listen.report.content import Part
from listen.same_fields import same_fields
from listen.voice import names, times
from listen.voice.text import plain


def clip_parts(job: Job, folder: Path) -> tuple[Part, ...]:
    """Every clip, those taken back included."""
    return tuple(
        dict(
            clip=c.id,
            round_id=record.id,
            cylinder=record.cylinder,
            point=names.point_name(c.kept.point),
            kind=c.kept.clip_kind,
            **same_fields(c.kept, "walk", "take"),
            seconds=round(c.kept.seconds, 2),
            **same_fields(c.kept, "rate_hz", "device"),
            started=times.moment_and_zone(c.kept.started or c.event.time),
            sha256=c.kept.sha256,
            file=_state(folder, c),
            note="; ".join(_notes(c)),
        )
        for record in job.rounds
        for c in record.clips
    )


def _state(folder: Path, c: ClipRecord) -> str:
    """``matches``, ``differs`` or ``missing``."""
    path = clip_file(folder, c.id)
    with suppress(OSError):
        if path is not None and path.is_file():
            return "matches" if sha256_of(path) == c.kept.sha256 else "differs"
    return "missing"


def _notes(c: ClipRecord) -> list[str]:
    k = c.kept
    notes = {
        f"taken back{': ' + c.reason if c.reason else ''}": c.taken_back,
        "saved from a cut-short take": k.recovered,
        f"made from {k.imported_from}": k.imported_from,
        f"{len(k.gaps)} gap(s)": k.gaps,
        f"{k.overflows} overflow(s)": k.overflows,
    }
    return [words for words, so in notes.items() if so]


OWNER_SEES = 2
"""Photos on the owner's page; the shop's part has all."""


def photo_parts(job: Job) -> tuple[Part, ...]:
    """Photos in use, in the order kept; the pictures themselves stand on the page and in the journal."""
    return tuple(
        dict(
            **same_fields(p.kept, "photo", "cylinder"),
            words=plain(" · ".join(w for w in (p.kept.of, p.kept.text) if w), 200),
            taken_in=times.moment(p.event.time),
            **same_fields(p.kept, "width", "height", "original_sha256"),
        )
        for p in job.photos
        if not p.taken_back
    )


def addresses(job: Job) -> dict[str, str]:
    """Each photo's picture as an address that a page can hold."""
    used = (p.kept for p in job.photos if not p.taken_back)
    return {kept.photo: f"data:image/jpeg;base64,{base64.b64encode(kept.picture).decode('ascii')}" for kept in used}


def signature_parts(chain: Chain) -> dict[str, tuple[Part, ...]]:
    """The checked signatures of a journal, those of merged branches included, by round."""
    checks = {c.event.id: c for c in sorted(check_signatures(chain), key=lambda c: c.state == "bad")}
    found: dict[str, tuple[Part, ...]] = {}
    for event in chain.events():
        p = event.payload
        if isinstance(p, Signed):
            key, check = fingerprint(p.public_key), checks[event.id]
            how = f"signed with shop key {key}" if key else "name typed, no key"
            held = {"good": ", signature good", "bad": f", signature DOES NOT MATCH: {check.text}"}
            part = dict(
                **same_fields(p, "name", "role"),
                signed=times.moment_and_zone(event.time),
                state=check.state,
                # Of the shop key, as ``hissway verify`` prints it; empty where no key was used.
                fingerprint=key,
                held_by=how + held.get(check.state, ""),
                # The head is that of the journal line up to which it closes.
                **same_fields(p, "statement", "head"),
            )
            found[p.round_id] = (*found.get(p.round_id, ()), part)
    return found


def in_words(s: Part) -> str:
    statement = f"\N{LEFT DOUBLE QUOTATION MARK}{s['statement']}\N{RIGHT DOUBLE QUOTATION MARK}"
    return f"{s['name']} ({s['role']}), {s['signed']}: {s['held_by']}. {statement} Closes the journal up to {s['head']}"
