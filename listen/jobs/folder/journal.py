"""The journal's lines: one event a line, each carrying its own sum and the hash of the line before;
and the order in which events of merged journals count.

What was known comes first, else the earlier time. Every line names the line before it by hash, so what its writer knew
is fixed for good, however journals were merged since. Events that did not know of each other are ordered by their
times, then by hash: three machines that hold the same events tell the same job, whatever the order in which they met.
"""

import hashlib
import heapq
import json
import re
import secrets
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from graphlib import TopologicalSorter
from typing import Any

import msgspec
from msgspec.structs import replace

from listen.errors import HisswayError, JobError
from listen.jobs.events import KIND_OF, KINDS, Event, Merged, Opaque, Payload

GENESIS = hashlib.sha256(b"hissway.journal/1").hexdigest()
"""``prev`` of the first line: SHA-256 of the ASCII text ``hissway.journal/1``."""

_SUM = re.compile(rb',"sum":"([0-9a-f]{64})"\}\Z')


class _Envelope(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    time: str
    actor: str
    kind: str
    payload: msgspec.Raw
    prev: str


class Line(msgspec.Struct, frozen=True):
    raw: bytes
    hash: str
    event: Event
    prev: str
    """Hash of the line that it names as the one before it."""
    inner: tuple["Line", ...] = ()
    """For a merge: the lines that came in with it, once the chain has been read."""


def sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def storable(name: str) -> str:
    """A file's name or path as text a line can hold: bytes that are no UTF-8 become question marks."""
    return name.encode("utf-8", "replace").decode()


def utc_now() -> str:
    """Now, UTC, ISO 8601 with milliseconds."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def write_line(payload: Payload, *, prev: str, actor: str, time: str | None = None, id: str | None = None) -> Line:
    """Make the line that follows ``prev``; read back before it is trusted.

    Raises JobError: a value that JSON cannot carry (NaN, infinity, half a character) or of the wrong type."""
    kind = KIND_OF[type(payload)]
    envelope = {
        "id": id or secrets.token_hex(8),
        "time": time or utc_now(),
        "actor": actor,
        "kind": kind,
        "payload": payload,
        "prev": prev,
    }
    try:
        # Encoded first, summed after: the sum covers the very bytes that are written.
        body = msgspec.json.encode(envelope)
    except (UnicodeEncodeError, TypeError) as e:
        raise JobError(f"this {kind} cannot be kept: {e}; nothing was written") from e
    raw = body[:-1] + f',"sum":"{sha256(body)}"}}'.encode()
    # NaN and infinity are written as null: only reading back shows that a value was lost.
    line = read_line(raw)
    same = line.event.payload == payload or msgspec.json.encode(line.event.payload) == msgspec.json.encode(payload)
    if not same:
        raise JobError(f"this {kind} cannot be kept: a value is not finite or of the wrong type; nothing was written")
    return line


def read_line(raw: bytes) -> Line:
    """Read one line and check its own sum.

    Raises ValueError: not a line of a journal, or changed since it was written."""
    found = _SUM.search(raw)
    # The sum stands last, so that what it covers is the line without it, closed again by its bracket.
    if found is None or sha256(raw[: found.start()] + b"}") != found[1].decode():
        raise ValueError("the line was changed or damaged: its own sum does not fit")
    try:
        envelope = msgspec.json.decode(raw, type=_Envelope)
        payload = _payload(envelope.kind, envelope.payload)
        # Only lines in another hand are looked through by the slower parser: ours cannot name a thing twice.
        if msgspec.json.encode(msgspec.json.decode(raw)) != raw:  # not as this program writes it
            json.loads(raw, object_pairs_hook=_each_once)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as e:
        raise ValueError(f"the line is not an event: {e}") from None
    event = Event(id=envelope.id, time=envelope.time, actor=envelope.actor, payload=payload, line=sha256(raw))
    return Line(raw, event.line, event, envelope.prev)


def _each_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """One object of a line; a name that stands twice would be read one way here and another way elsewhere."""
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a name stands twice in one object of the line")
    return found


def _payload(kind: str, raw: msgspec.Raw) -> Payload:
    why = "a newer version of the program wrote it"
    if (struct := KINDS.get(kind)) is not None:
        try:
            return msgspec.json.decode(raw, type=struct)
        except (msgspec.ValidationError, HisswayError) as e:
            why = str(e)
    # Kept as it is, not refused: one value that this version doubts must not close the whole job.
    return Opaque(unknown_kind=kind, content=msgspec.json.decode(raw), why=why)


def ordered(lines: Sequence[Line]) -> Iterator[Event]:
    """Events of a journal and of all that merges brought in, in the order in which they count.

    Where nothing was merged that is the order of the lines. Else each event says which others its writer knew.
    """
    # The usual job: nothing was merged, no graph is needed.
    if not any(isinstance(line.event.payload, Merged) for line in lines):
        yield from (line.event for line in lines)
        return
    every: dict[str, Line] = {}
    before: dict[str, list[str]] = {}
    _follow(lines, "", every, before)
    waiting, ready = TopologicalSorter(before), list[tuple[str, str]]()
    waiting.prepare()
    knew: dict[str, int] = {}
    place = 0
    while waiting.is_active():
        for one in waiting.get_ready():
            # By time, then by hash: a clock set alike on two machines still gives one order on both.
            heapq.heappush(ready, (every[one].event.time, one))
        _, found = heapq.heappop(ready)
        event, had = every[found].event, 0
        for one in before[found]:
            had |= knew[one]
        # A merge stands in one machine's journal only: it takes no place, so that those of all others are the same.
        if not isinstance(event.payload, Merged):
            had |= 1 << place
            event = replace(event, place=place)
            place += 1
        knew[found] = had
        yield replace(event, knew=had)
        # Only now may what follows it come: times of two machines' clocks never put a line before one it names.
        waiting.done(found)


def _follow(lines: Sequence[Line], after: str, every: dict[str, Line], before: dict[str, list[str]]) -> str:
    """Note each line once, and which it directly follows, the first ``after``; gives the hash of the last."""
    for line in lines:
        # Several merges may bring one line; it stands where it was met first.
        if line.hash not in every:
            follows = [after]
            if isinstance(p := line.event.payload, Merged):
                # A merge follows both journals: what either knew its writer knew.
                follows.append(_follow(line.inner, p.fork, every, before))
            before[line.hash] = [one for one in follows if one in every]
            every[line.hash] = line
        after = line.hash
    return after
