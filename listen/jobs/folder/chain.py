"""The chain of lines: read as far as it holds, with the chains that merges brought in; and the file it lies in."""

from collections.abc import Iterator, Sequence
from pathlib import Path

import msgspec
from msgspec.structs import replace

from listen.durable import job_errors, read_file
from listen.errors import JobError
from listen.jobs.events import SCHEMA, ClipKept, Event, JobOpened, Merged
from listen.jobs.folder.journal import GENESIS, Line, ordered, read_line

MAX_MERGE_DEPTH = 40
"""Merges inside merges that are read; each level is read once more, so the depth must have an end."""
MAX_MERGES = 2_000
"""Merges in one journal, those inside merges counted; a job that travels every day for a year has some hundreds."""


MAX_MERGED_LINES = 50_000
"""Lines of merged journals together: of each it is kept which others its writer knew, so that this grows with their
square; a busy job has some thousands."""


class Chain(msgspec.Struct, frozen=True):
    lines: tuple[Line, ...]
    """Those that hold, in order."""
    torn: bytes = b""
    open_ended: bool = False
    """True where the last line is whole and only its line end is missing."""
    broken: str = ""
    """Why the chain does not hold from line ``len(lines) + 1`` on; empty where it holds."""
    rest: int = 0

    @property
    def head(self) -> str:
        """Hash of the last line that holds."""
        return self.lines[-1].hash if self.lines else GENESIS

    @property
    def size(self) -> int:
        """Bytes of the lines that hold, with their line ends."""
        return sum(len(line.raw) + 1 for line in self.lines)

    @property
    def data(self) -> bytes:
        """Those lines as a journal's bytes."""
        return b"".join(line.raw + b"\n" for line in self.lines)

    def events(self) -> Iterator[Event]:
        """All events that count, each id once, in the order of :mod:`listen.jobs.folder.journal`."""
        met: set[str] = set()
        for event in ordered(self.lines):
            if event.id not in met:
                met.add(event.id)
                yield event

    def hashes(self) -> frozenset[str]:
        """Of all lines, those of merges included."""
        return frozenset(line.hash for line in own_lines(self.lines))

    def holds(self, other: "Chain") -> bool:
        """Whether every line of ``other`` stands here, word for word, except merges whose content does."""
        held = self.hashes()

        def inside(line: Line) -> bool:
            return line.hash in held or (isinstance(line.event.payload, Merged) and all(map(inside, line.inner)))

        return all(map(inside, other.lines))

    def clips(self) -> dict[str, ClipKept]:
        """Every clip an event keeps, by its id; those taken back too, since their files stay."""
        return {p.clip: p for e in self.events() if isinstance(p := e.payload, ClipKept)}


def read_chain(data: bytes) -> Chain:
    """Read lines from the bytes of a journal as far as they hold. Never raises."""
    return _Reader().read(data)


class _Reader:
    """Takes line after line of one chain, the journal's own or one inside a merge."""

    def __init__(self, around: "_Reader | None" = None, fork: str = GENESIS) -> None:
        self.lines: list[Line] = []
        self._prev = fork
        self._ids: set[str] = set()
        self._hashes: set[str] = set(around._hashes) if around else set()
        """Of the lines from which a merge may fork; none forks from before the first, or it would be another job."""
        self._merges: set[str] = set()
        # A copy: what a branch brings must not count for the journal around it before it is accepted.
        self._held: dict[str, bytes] = dict(around._held) if around else {}
        """Every line read so far by its hash, to which a merge may refer instead of repeating it."""
        self._depth: int = around._depth + 1 if around else 0

    def read(self, data: bytes) -> Chain:
        """The lines of these bytes as far as they hold."""
        # A line counts once its line end is written: what stands after the last was cut off, or lacks its end only.
        *whole, tail = data.split(b"\n")
        for n, raw in enumerate([*whole, tail] if tail else whole):
            try:
                self.take(raw)
            except ValueError as e:
                if n == len(whole):
                    return Chain(tuple(self.lines), torn=tail)
                return Chain(tuple(self.lines), broken=str(e), rest=len(whole) - n + bool(tail))
        return Chain(tuple(self.lines), open_ended=bool(tail))

    def take(self, raw: bytes) -> None:
        """The next line, if it follows; ``ValueError`` says why not, and nothing has changed."""
        line = read_line(raw)
        payload = line.event.payload
        # Before the hash, so that a line copied into place is told as what it is.
        if line.event.id in self._ids:
            raise ValueError(f"event {line.event.id} stands here a second time")
        if line.prev != self._prev:
            raise ValueError("it does not follow the line before it: a line was dropped, moved or put in")
        if self._prev == GENESIS and not (isinstance(payload, JobOpened) and payload.schema == SCHEMA):
            raise ValueError(
                f"the first event must open a job of form {SCHEMA}; a newer version of the program may read it"
            )
        if isinstance(payload, Merged):
            line = replace(line, inner=self._merged(payload))
            merges = {one.hash for one in own_lines([line]) if isinstance(one.event.payload, Merged)}
            # Lines may be held once and referred to often: a small file can unfold into endless merges.
            if len(self._merges | merges) > MAX_MERGES:
                raise ValueError(f"the journal holds more than {MAX_MERGES} merges")
            self._merges |= merges
        # Only now, past every refusal: what was read so far must stay as it was.
        self.lines.append(line)
        self._ids.add(line.event.id)
        self._hashes.add(line.hash)
        self._held.update((one.hash, one.raw) for one in own_lines([line]))
        self._prev = line.hash

    def _merged(self, merged: Merged) -> tuple[Line, ...]:
        if self._depth >= MAX_MERGE_DEPTH:
            raise ValueError(f"merges lie inside merges more than {MAX_MERGE_DEPTH} deep")
        if merged.fork not in self._hashes:
            raise ValueError("the merged events fork from a line that is not in this journal")
        if len(self._held) + len(merged.lines) > MAX_MERGED_LINES:
            raise ValueError(f"merged journals hold more than {MAX_MERGED_LINES} events")
        # A branch may itself hold merges that fork from lines before its own fork: it is told all hashes so far.
        whole = b"".join(self._whole(bytes(raw)) + b"\n" for raw in merged.lines)
        inner = _Reader(self, merged.fork).read(whole)
        # Merged whole or not at all: half of another's history would be read as all of it.
        if inner.broken or inner.torn:
            raise ValueError(
                f"the merged events do not hold from the {len(inner.lines) + 1}th on: {inner.broken or 'cut short'}"
            )
        return inner.lines

    def _whole(self, raw: bytes) -> bytes:
        """A merged line, or the line held here that stands for it by its hash."""
        # An event is an object; a text is the hash of a line that stands here already.
        if not raw.startswith(b'"'):
            return raw
        try:
            return self._held[raw.decode().strip('"')]
        except (KeyError, UnicodeDecodeError):
            raise ValueError("the merged events refer to a line that is not in this journal") from None


def merge_depth(line: Line) -> int:
    if not isinstance(line.event.payload, Merged):
        return 0
    return 1 + max((merge_depth(inner) for inner in line.inner), default=0)


def own_lines(lines: Sequence[Line]) -> Iterator[Line]:
    """All lines, and after each merge the lines that came in with it, as they stood in their own journal."""
    for line in lines:
        yield line
        yield from own_lines(line.inner)


JOURNAL = "journal.jsonl"
MAX_JOURNAL_BYTES = 256_000_000
"""A journal beyond this is no journal of ours (a busy job has well under 1 MB)."""


def read_journal(folder: Path) -> Chain:
    """Read a job's journal as far as it holds. Raises JobError: no journal there, or it cannot be read."""
    path = folder / JOURNAL
    if not folder.is_dir():
        raise JobError(f"{folder}: no such job folder; `hissway` lists the jobs there are")
    if not path.is_file():
        raise JobError(f"{folder}: holds no {JOURNAL}; this is not a job folder")
    with job_errors("read the journal", path):
        return read_chain(read_file(path, MAX_JOURNAL_BYTES))


def broken_words(folder: Path, chain: Chain) -> str:
    n = len(chain.lines) + 1
    return (
        f"{folder / JOURNAL}: does not hold from event {n} on ({chain.rest} line(s) affected): {chain.broken}; "
        f"the {n - 1} event(s) before can be read, nothing more can be written; "
        "restore the file from a copy or bag, or bring back the rest with hissway salvage"
    )
