"""The file of one session: its lines, chained, and each session held to the one before it."""

import hashlib
from collections.abc import Iterator, Sequence
from pathlib import Path

import msgspec

from listen.errors import LabError
from listen.lab import records
from listen.lab.training.answers import Answer, Heard, Met, Opened

Line = Opened | Met | Heard | Answer
START = hashlib.sha256(b"hissway.lab-session/2").hexdigest()
"""What the first line's sum follows."""


class Link(msgspec.Struct, frozen=True, kw_only=True):
    """A line as it lies in the file, chained to the one before, so that no edit is silent."""

    record: msgspec.Raw
    sum: str
    """SHA-256 of the sum before and of the record's bytes."""


def sum_after(before: str, record: bytes) -> str:
    """Sum of a line that follows the one whose sum is ``before``."""
    return hashlib.sha256(before.encode() + record).hexdigest()


def held_to(nonce: str, seed: int | None, item: str, truth: Sequence[str]) -> str:
    """The sum by which a round's truth is fixed before it is called."""
    return hashlib.sha256("/".join((nonce, str(seed), item, *truth)).encode()).hexdigest()


class Book:
    """A session's lines; one more is on the disk before anything follows from it."""

    def __init__(self, path: Path, lines: Sequence[Line] = (), sums: Sequence[str] = ()) -> None:
        self.path, self.lines, self.sums = path, list(lines), list(sums)

    def add(self, record: Line) -> None:
        """Write a line; it counts once it is on the disk. Raises as :func:`listen.lab.records.append`."""
        raw = msgspec.json.encode(record)
        link = Link(record=msgspec.Raw(raw), sum=sum_after(self.head, raw))
        records.append(self.path, link)
        self.sums.append(link.sum)
        self.lines.append(record)

    @property
    def head(self) -> str:
        """Sum of the last line."""
        return self.sums[-1] if self.sums else START

    @property
    def opened(self) -> Opened:
        first = self.lines[0]
        assert isinstance(first, Opened)
        return first

    @property
    def answers(self) -> tuple[Answer, ...]:
        """Rounds answered to the end."""
        return tuple(x for x in self.lines if isinstance(x, Answer))

    @property
    def left(self) -> int:
        """Fresh rounds met and left without an answer."""
        return sum(isinstance(x, Met) for x in self.lines) - len(self.answers) if self.opened.pool else 0


class _Old(msgspec.Struct, frozen=True, kw_only=True):
    """First line of a session before lines were chained."""

    session: str
    drill: str
    title: str
    level: str
    order: tuple[str, ...]
    started: str


def _old(path: Path) -> Book:
    """A session of an earlier version: it counts, and cannot be gone on with."""
    first = records.read(path, _Old, stop=1)[0]
    opened = Opened(
        session=first.session,
        drill=first.drill,
        title=first.title,
        level=first.level,
        total=len(first.order),
        started=first.started,
    )
    return Book(path, [opened, *records.read(path, Answer, skip=1)])


def _read(path: Path) -> Book | None:
    try:
        with path.open("rb") as file:
            begins = file.readline()
    except OSError as error:
        raise LabError(f"{path}: cannot be read ({error.strerror or error})") from error
    if begins.endswith(b"\n") and b'"hissway.lab-session/1"' in begins:
        return _old(path)
    links, before = records.read(path, Link), START
    for number, link in enumerate(links, 1):
        if link.sum != sum_after(before, bytes(link.record)):
            raise LabError(
                f"{path}: line {number} does not follow the line before it: it was changed, dropped or put in after "
                "it was written; take the file from a backup, or move it away to go on without it"
            )
        before = link.sum
    if not links:
        return None
    try:
        lines = [msgspec.json.decode(link.record, type=Line) for link in links]
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise LabError(f"{path}: {error}; written by a newer version") from error
    if not isinstance(lines[0], Opened):
        raise LabError(f"{path}: does not begin a session; move it away to go on without it")
    _hold(path, lines)
    return Book(path, lines, [link.sum for link in links])


def _hold(path: Path, lines: Sequence[Line]) -> None:
    """Every truth told was fixed when its round was met."""
    met = ""
    for number, line in enumerate(lines, 1):
        if isinstance(line, Met):
            met = line.held_to
        if isinstance(line, Answer) and held_to(line.nonce, line.seed, line.item, line.truth) != met:
            raise LabError(f"{path}: the truth in line {number} is not the one fixed when its round was met")


def books(folder: Path) -> Iterator[Book]:
    """Every session in a learner's folder, oldest first, held against its own sums and the one before.

    Raises LabError: a line was changed, or what a later session follows is gone or cut."""
    sums = {""}
    for path in sorted(folder.glob("*.jsonl")):
        if (book := _read(path)) is None:
            continue
        if book.opened.after not in sums:
            raise LabError(
                f"{path}: follows a line that is gone: a session before it was removed or cut; take it from a "
                "backup, or move this one away to go on without it"
            )
        sums.update(book.sums)
        yield book
