"""The chain of lines: read as far as it holds, with the chains that merges brought in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import msgspec
from msgspec.structs import replace

from listen.jobs.events import SCHEMA, Event, JobOpened, Merged
from listen.jobs.journal import GENESIS, Line, prev_of, read_line

MAX_MERGE_DEPTH = 16
"""Merges inside merges that are read; each level is read once more, so the depth must have an end."""

Past = Sequence[tuple[str, frozenset[str]]]
"""Hash of each line so far with the ids of its events."""


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
        return once(expand(self.lines))


def read_chain(data: bytes, start: str = GENESIS, before: frozenset[str] = frozenset(), depth: int = 0) -> Chain:
    """Read lines from the bytes of a journal as far as they hold. Never raises.

    Parameters
    ----------
    start
        Hash that the first line must name as the one before it.
    before
        Hashes of lines before ``start`` from which a merge may fork.
    depth
        Merges that this chain lies inside of.
    """
    *whole, tail = data.split(b"\n")
    lines: list[Line] = []
    ids: set[str] = set()
    hashes = {start, *before}
    prev = start
    for raw in whole:
        try:
            line = _next(raw, prev, ids, hashes, depth)
        except ValueError as e:
            return Chain(tuple(lines), broken=str(e), rest=len(whole) - len(lines) + bool(tail))
        ids.add(line.event.id)
        hashes.add(line.hash)
        prev = line.hash
        lines.append(line)
    if not tail:
        return Chain(tuple(lines))
    try:
        lines.append(_next(tail, prev, ids, hashes, depth))
    except ValueError:
        return Chain(tuple(lines), torn=tail)
    return Chain(tuple(lines), open_ended=True)


def _next(raw: bytes, prev: str, ids: set[str], hashes: set[str], depth: int) -> Line:
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
    if isinstance(payload, Merged) and (why := _merge_fault(payload, frozenset(hashes), depth + 1)):
        raise ValueError(why)
    return line


def _merge_fault(merged: Merged, before: frozenset[str], depth: int) -> str:
    if depth > MAX_MERGE_DEPTH:
        return f"merges lie inside merges more than {MAX_MERGE_DEPTH} deep"
    if merged.fork not in before:
        return "the merged events fork from a line that is not in this journal"
    inner = inner_chain(merged, before, depth)
    if inner.broken or inner.torn:
        return f"the merged events do not hold from the {len(inner.lines) + 1}th on: {inner.broken or 'cut short'}"
    return ""


def inner_chain(merged: Merged, before: frozenset[str], depth: int = 1) -> Chain:
    """The other machine's lines inside a merge, read and checked as a chain from the fork."""
    return read_chain(b"".join(bytes(raw) + b"\n" for raw in merged.lines), merged.fork, before, depth)


def merge_depth(line: Line) -> int:
    """How deep merges lie in merges: 0 for any other event."""
    payload = line.event.payload
    if not isinstance(payload, Merged):
        return 0
    return 1 + max((merge_depth(read_line(bytes(raw))) for raw in payload.lines), default=0)


def once(events: Iterator[Event]) -> Iterator[Event]:
    """Events with those left out that have been told before."""
    seen: set[str] = set()
    for event in events:
        if event.id not in seen:
            seen.add(event.id)
            yield event


def own_lines(lines: Sequence[Line]) -> Iterator[Line]:
    """All lines, and after each merge the lines that came in with it, as they stood in their own journal."""
    for line in lines:
        yield line
        if isinstance(line.event.payload, Merged):
            yield from own_lines([read_line(bytes(raw)) for raw in line.event.payload.lines])


def expand(lines: Sequence[Line], past: Past = (), unseen: frozenset[str] = frozenset()) -> Iterator[Event]:
    """Events of a chain; after a merge, the events that came in with it, which had not seen ours since the fork.

    ``past`` holds hash and event ids of the lines before a merged chain; empty for a journal itself.
    """
    known = list(past)
    for line in lines:
        event = replace(line.event, merged=True, unseen=unseen) if past else line.event
        yield event
        ids = {event.id}
        if isinstance(event.payload, Merged):
            shared, since = _split(known, event.payload.fork)
            inner = inner_chain(event.payload, frozenset(line_hash for line_hash, _ in known))
            for merged in expand(inner.lines, shared, unseen | since):
                ids.add(merged.id)
                yield merged
        known.append((line.hash, frozenset(ids)))


def _split(known: Past, fork: str) -> tuple[Past, frozenset[str]]:
    """Lines up to the one with hash ``fork``, and the ids of the events after it."""
    for n, (line_hash, _) in enumerate(known, 1):
        if line_hash == fork:
            return known[:n], frozenset().union(*(ids for _, ids in known[n:]))
    raise ValueError(f"no line {fork}")  # read_chain has refused such a merge
