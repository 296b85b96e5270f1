"""The journal's lines: one event a line, each carrying its own sum and the hash of the line before."""

from __future__ import annotations

import hashlib
import re
import secrets
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import msgspec

from listen.errors import HisswayError, JobError
from listen.jobs.events import KIND_OF, KINDS, SCHEMA, Event, JobOpened, Merged, Opaque, Payload

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
    """One line as it stands in the file."""

    raw: bytes
    """Without the line end."""
    hash: str
    """SHA-256 of ``raw``."""
    event: Event


class Chain(msgspec.Struct, frozen=True):
    """What could be read of a journal."""

    lines: tuple[Line, ...]
    """Those that hold, in order."""
    torn: bytes = b""
    """A last line that was not written whole."""
    open_ended: bool = False
    """True where the last line is whole and only its line end is missing."""
    broken: str = ""
    """Why the chain does not hold from line ``len(lines) + 1`` on; empty where it holds."""
    rest: int = 0
    """Lines from the break on."""

    @property
    def head(self) -> str:
        """Hash of the last line that holds."""
        return self.lines[-1].hash if self.lines else GENESIS

    @property
    def size(self) -> int:
        """Bytes of the lines that hold, with their line ends."""
        return sum(len(line.raw) + 1 for line in self.lines)

    def events(self) -> Iterator[Event]:
        """All events that count, merged ones in the place of the merge, each id once."""
        seen: set[str] = set()
        for line in self.lines:
            for event in expand(line.event):
                if event.id not in seen:
                    seen.add(event.id)
                    yield event


def sha256(data: bytes) -> str:
    """Hash in lower-case hex."""
    return hashlib.sha256(data).hexdigest()


def new_id() -> str:
    """A fresh identifier for an event: 16 hex digits."""
    return secrets.token_hex(8)


def utc_now() -> str:
    """Now, UTC, ISO 8601 with milliseconds."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def write_line(payload: Payload, *, prev: str, actor: str, time: str | None = None, id: str | None = None) -> Line:
    """Make the line that follows ``prev``; read back before it is trusted.

    Raises
    ------
    JobError
        A value that JSON cannot carry (NaN, infinity, half a character) or of the wrong type.
    """
    kind = KIND_OF[type(payload)]
    envelope = {
        "id": id or new_id(),
        "time": time or utc_now(),
        "actor": actor,
        "kind": kind,
        "payload": payload,
        "prev": prev,
    }
    try:
        body = msgspec.json.encode(envelope)
    except (UnicodeEncodeError, TypeError) as e:
        raise JobError(f"this {kind} cannot be kept: {e}; nothing was written") from e
    raw = body[:-1] + f',"sum":"{sha256(body)}"}}'.encode()
    line = read_line(raw)
    same = line.event.payload == payload or msgspec.json.encode(line.event.payload) == msgspec.json.encode(payload)
    if not same:
        raise JobError(f"this {kind} cannot be kept: a value is not finite or of the wrong type; nothing was written")
    return line


def read_line(raw: bytes) -> Line:
    """Read one line and check its own sum.

    Raises
    ------
    ValueError
        Not a line of a journal, or changed since it was written.
    """
    found = _SUM.search(raw)
    if found is None or sha256(raw[: found.start()] + b"}") != found[1].decode():
        raise ValueError("the line was changed or damaged: its own sum does not fit")
    try:
        envelope = msgspec.json.decode(raw, type=_Envelope)
        payload = _payload(envelope.kind, envelope.payload)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as e:
        raise ValueError(f"the line is not an event: {e}") from None
    event = Event(id=envelope.id, time=envelope.time, actor=envelope.actor, payload=payload, line=sha256(raw))
    return Line(raw, event.line, event)


def _payload(kind: str, raw: msgspec.Raw) -> Payload:
    struct = KINDS.get(kind)
    if struct is not None:
        try:
            return msgspec.json.decode(raw, type=struct)
        except (msgspec.ValidationError, HisswayError) as e:
            return Opaque(unknown_kind=kind, content=msgspec.json.decode(raw), why=str(e))
    content: Any = msgspec.json.decode(raw)
    return Opaque(unknown_kind=kind, content=content, why="a newer version of the program wrote it")


def prev_of(raw: bytes) -> str:
    """Hash that a line names as the one before it."""
    return msgspec.json.decode(raw, type=_Envelope).prev


def read_chain(data: bytes, start: str = GENESIS) -> Chain:
    """Read lines from the bytes of a journal as far as they hold. Never raises."""
    *whole, tail = data.split(b"\n")
    lines: list[Line] = []
    ids: set[str] = set()
    prev = start
    for raw in whole:
        try:
            line = _next(raw, prev, ids)
        except ValueError as e:
            return Chain(tuple(lines), broken=str(e), rest=len(whole) - len(lines) + bool(tail))
        ids.add(line.event.id)
        prev = line.hash
        lines.append(line)
    if not tail:
        return Chain(tuple(lines))
    try:
        lines.append(_next(tail, prev, ids))
    except ValueError:
        return Chain(tuple(lines), torn=tail)
    return Chain(tuple(lines), open_ended=True)


def _next(raw: bytes, prev: str, ids: set[str]) -> Line:
    line = read_line(raw)
    if line.event.id in ids:
        raise ValueError(f"event {line.event.id} stands here a second time")
    if prev_of(raw) != prev:
        raise ValueError("it does not follow the line before it: a line was dropped, moved or put in")
    payload = line.event.payload
    if prev == GENESIS and not (isinstance(payload, JobOpened) and payload.schema == SCHEMA):
        raise ValueError(
            f"the first event must open a job of form {SCHEMA}; a newer version of the program may read it"
        )
    if isinstance(payload, Merged) and (why := _merge_fault(payload)):
        raise ValueError(why)
    return line


def _merge_fault(merged: Merged) -> str:
    inner = inner_chain(merged)
    if inner.broken or inner.torn:
        return f"the merged events do not hold from the {len(inner.lines) + 1}th on: {inner.broken or 'cut short'}"
    return ""


def inner_chain(merged: Merged) -> Chain:
    """The other machine's lines inside a merge, read and checked as a chain from the fork."""
    return read_chain("".join(text + "\n" for text in merged.lines).encode(), merged.fork)


def expand(event: Event) -> Iterator[Event]:
    """An event, and for a merge the events that came in with it."""
    yield event
    if isinstance(event.payload, Merged):
        for line in inner_chain(event.payload).lines:
            for inner in expand(line.event):
                yield msgspec.structs.replace(inner, merged=True)
