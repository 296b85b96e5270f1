"""The file of one session: its lines (a call, the answer with its truth), chained, and each session held to the one
before it."""

import hashlib
from collections.abc import Iterator, Sequence
from pathlib import Path

import msgspec

from listen.errors import LabError
from listen.lab.learners import append_record, read_records
from listen.trade.points import PathId

CALLABLE: tuple[str, ...] = tuple(str(p) for p in PathId)
"""Paths a learner may name; ``none`` is sound."""
MAX_PATHS = 2


class Opened(msgspec.Struct, frozen=True, kw_only=True, tag="opened"):
    schema: str = "hissway.lab-session/2"
    session: str
    drill: str
    """Of a kept set; ``practice`` where the rounds are fresh."""
    title: str
    level: str
    file: str = ""
    total: int
    shuffle: int | None = None
    """Of a kept set: with the names that are sealed in it, the order of play. From neither alone does it follow:
    what one learner has answered tells another nothing."""
    names_sum: str = ""
    """Tells whether the set is still the same."""
    pool: tuple[str, ...] = ()
    """What fresh rounds are drawn from, each time with the same chance."""
    after: str = ""
    """Sum of the last line of this learner's session before."""
    started: str


class Call(msgspec.Struct, frozen=True, kw_only=True):
    paths: tuple[str, ...] = ()
    """One path, or two where both are at work; empty means "cannot tell"."""
    sure: float = 0.0
    """0 to 1; of no account where nothing is named."""


class Met(msgspec.Struct, frozen=True, kw_only=True, tag="met"):
    """A round was met; its truth is fixed from here on."""

    held_to: str
    """SHA-256 of the answer's ``nonce``, seed and truth: nothing can be read from it, and nothing changed later."""


class Heard(Call, frozen=True, kw_only=True, tag="heard"):
    """The call by ear, before any reading was told."""

    time: str
    seconds: float


class Answer(msgspec.Struct, frozen=True, kw_only=True, tag="answer"):
    """One answered item, with the truth as it stood, so that scores outlive the drill."""

    item: str
    paths: tuple[str, ...]
    """Called by ear; this is what is scored."""
    sure: float
    truth: tuple[str, ...]
    focus: tuple[str, ...] = ()
    time: str
    seconds: float
    drill: str = ""
    level: str = ""
    session: str = ""
    then: tuple[str, ...] | None = None
    """Called once the readings were told; None: stayed with it."""
    then_sure: float = 0.0
    trains: str = ""
    level_db: float | None = None
    """How plain the round was made."""
    seed: int | None = None
    nonce: str = ""

    @property
    def right(self) -> bool | None:
        """Whether every path named is truly there; None where nothing was named."""
        return set(self.paths) <= set(self.truth) if self.paths else None

    @property
    def right_then(self) -> bool | None:
        """The same once the readings were told."""
        paths = self.paths if self.then is None else self.then
        return set(paths) <= set(self.truth) if paths else None


def check_call(call: Call) -> None:
    """Refuse what cannot be a call.

    Raises LabError: unknown or doubled path, more than two, ``none`` with another, or confidence outside 0-1."""
    unknown = [p for p in call.paths if p not in CALLABLE]
    if unknown:
        raise LabError(f"{unknown[0]!r} is not an escape path; known: {' '.join(CALLABLE)}")
    if len(set(call.paths)) != len(call.paths) or len(call.paths) > MAX_PATHS:
        raise LabError(f"{len(call.paths)} paths named; one, or two different ones, or none for cannot tell")
    if "none" in call.paths and len(call.paths) > 1:
        raise LabError("sound and a leak cannot both be called; choose one")
    if not 0.0 <= call.sure <= 1.0:
        raise LabError(f"confidence {call.sure:g}; from 0 to 1 it must be")


Line = Opened | Met | Heard | Answer
START = hashlib.sha256(b"hissway.lab-session/2").hexdigest()
"""What the first line's sum follows."""


class Link(msgspec.Struct, frozen=True, kw_only=True):
    """A line as it lies in the file, chained to the one before, so that no edit is silent."""

    record: msgspec.Raw
    sum: str
    """SHA-256 of the sum before and of the record's bytes."""


def sum_after(before: str, record: bytes) -> str:
    return hashlib.sha256(before.encode() + record).hexdigest()


def held_to(nonce: str, seed: int | None, item: str, truth: Sequence[str]) -> str:
    """The sum by which a round's truth is fixed before it is called."""
    return hashlib.sha256("/".join((nonce, str(seed), item, *truth)).encode()).hexdigest()


class Book:
    """A session's lines; one more is on the disk before anything follows from it."""

    def __init__(self, path: Path) -> None:
        self.path, self.lines, self.sums = path, list[Line](), list[str]()

    def add(self, record: Line) -> None:
        """Write a line; it counts once it is on the disk. Raises as :func:`listen.lab.learners.append_record`."""
        raw = msgspec.json.encode(record)
        # As it was encoded: another encoder may write the same with other bytes, and no sum would hold.
        link = Link(record=msgspec.Raw(raw), sum=sum_after(self.head, raw))
        append_record(self.path, link)
        self.sums.append(link.sum)
        self.lines.append(record)

    @property
    def head(self) -> str:
        return self.sums[-1] if self.sums else START

    @property
    def opened(self) -> Opened:
        first = self.lines[0]
        assert isinstance(first, Opened)
        return first

    @property
    def answers(self) -> tuple[Answer, ...]:
        return tuple(x for x in self.lines if isinstance(x, Answer))

    @property
    def left(self) -> int:
        """Fresh rounds met and left without an answer."""
        return sum(isinstance(x, Met) for x in self.lines) - len(self.answers) if self.opened.pool else 0


def _read(path: Path) -> Book | None:
    """A session from its file, each line held against the one before, each truth against what fixed it."""
    book, met = Book(path), ""
    for number, link in enumerate(read_records(path, Link), 1):
        if link.sum != sum_after(book.head, bytes(link.record)):
            raise LabError(
                f"{path}: line {number} does not follow the line before it: it was changed, dropped or put in after "
                "it was written; take the file from a backup, or move it away to go on without it"
            )
        try:
            line = msgspec.json.decode(link.record, type=Line)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
            raise LabError(f"{path}: {error}; written by a newer version") from error
        if number == 1 and not isinstance(line, Opened):
            raise LabError(f"{path}: does not begin a session; move it away to go on without it")
        if isinstance(line, Met):
            met = line.held_to
        if isinstance(line, Answer) and held_to(line.nonce, line.seed, line.item, line.truth) != met:
            raise LabError(f"{path}: the truth in line {number} is not the one fixed when its round was met")
        book.lines.append(line)
        book.sums.append(link.sum)
    return book if book.lines else None


def books(folder: Path) -> Iterator[Book]:
    """Every session in a learner's folder, oldest first, held against its own sums and the one before.

    Raises LabError: a line was changed, or what a later session follows is gone or cut."""
    # The first session ever follows nothing.
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
