"""One sitting: blind, each call on disk before anything more is told, resumable where its rounds are kept ones.

What a learner's machine holds while a round is in hand: a sum to which its truth is held, and nothing from which the
truth follows. Fresh rounds are in memory alone; who leaves in the middle of one meets another.
"""

import hashlib
import random
import secrets
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from listen.errors import LabError
from listen.lab.learners import Learner, learner_dir
from listen.lab.training.book import Answer, Book, Call, Heard, Met, Opened, books, check_call, held_to
from listen.lab.training.drills import DrillSet, OpenDrill, find_drill, list_drills, read_drill
from listen.lab.training.fresh import fresh_round
from listen.lab.training.held import Held
from listen.rounds.model import Facts
from listen.same_fields import same_fields

SESSIONS = "sessions"
PRACTICE = "practice"
SITTING = 12
"""Fresh rounds of one sitting, about a quarter of an hour."""


def _now() -> datetime:
    return datetime.now(UTC)


class Session:
    """A session in hand; made by :func:`start`, :func:`practise` or :func:`resume`."""

    def __init__(self, book: Book, kept: OpenDrill | None = None, before: Sequence[Answer] = ()) -> None:
        self._book, self.opened, self._kept, self._before = book, book.opened, kept, tuple(before)
        self._held: Held | None = None
        self._nonce = ""
        self._met = _now()
        last = next((x for x in book.lines[::-1] if not isinstance(x, Met)), None)
        # Of a kept set a call without its answer is gone on from; a fresh round that was left is met no more.
        self.called = last if isinstance(last, Heard) and kept is not None else None
        self.order = _order(kept, self.opened.shuffle or 0) if kept is not None else ()
        if kept is not None and _sum(kept) != self.opened.names_sum:
            raise LabError(f"{self.opened.file}: is another drill than when this session began; start it anew")

    @property
    def simulated(self) -> bool:
        return self._kept is None or self._kept.drill.simulated

    @property
    def number(self) -> int:
        """Number of the round now to be called, from 1; one more than there are when done."""
        return len(self.answers) + 1

    @property
    def done(self) -> bool:
        return self.number > self.opened.total

    @property
    def answers(self) -> tuple[Answer, ...]:
        return self._book.answers

    @property
    def held(self) -> Held:
        """The round in hand, made or unsealed when first asked for; its truth is not for whoever is still to call it.

        Raises LabError: the session is done, or the disk refuses."""
        if self._held is None:
            if self.done:
                raise LabError("this session is done; start the drill again, or another one")
            if self._kept is not None:
                held = self._kept.held(self.order[len(self.answers)])
            else:
                held = fresh_round(self.opened.pool, (*self._before, *self.answers))
            if self._kept is not None:  # its name in this session alone: others' answers must not tell it
                held = replace(held, id=hashlib.sha256(f"{self.opened.session}/{held.id}".encode()).hexdigest()[:16])
            # There are few truths: without a secret of its own each could be tried against the sum.
            self._nonce = secrets.token_hex(16)
            self._book.add(Met(held_to=held_to(self._nonce, held.seed, held.id, held.truth)))
            self._held, self._met = held, _now()
        return self._held

    @property
    def facts(self) -> Facts | None:
        """Readings of the round in hand; None before it was called by ear."""
        return None if self.called is None else self.held.facts

    def call(self, call: Call) -> Facts:
        """Take the call by ear; it is on disk before the readings come back.

        Raises LabError: no such call, called already, or the disk refuses."""
        check_call(call)
        held = self.held
        if self.called is not None:
            raise LabError("this round was called by ear already; what you think now is asked next")
        now = _now()
        heard = Heard(
            paths=call.paths,
            sure=call.sure if call.paths else 0.0,
            time=now.isoformat(timespec="seconds"),
            seconds=round((now - self._met).total_seconds(), 1),
        )
        self._book.add(heard)
        self.called = heard
        return held.facts

    def answer(self, then: Call | None = None) -> Answer:
        """What the learner thinks now that the readings are told (None: the same), on disk before the truth is.

        Raises LabError: not called by ear yet, no such call, or the disk refuses."""
        heard, held = self.called, self.held
        if heard is None:
            raise LabError("call it by ear first")
        if then is not None:
            check_call(then)
        answer = Answer(
            item=held.id,
            **same_fields(heard, "paths", "sure", "time", "seconds"),
            **same_fields(held, "truth", "focus", "trains", "level_db", "seed"),
            drill=self.opened.drill,
            level=self.opened.level,
            session=self.opened.session,
            then=None if then is None else then.paths,
            then_sure=0.0 if then is None or not then.paths else then.sure,
            nonce=self._nonce,
        )
        self._book.add(answer)
        self._held = self.called = None
        return answer


def _sum(kept: OpenDrill, *more: object) -> str:
    """Of the names sealed in a set, and whatever else."""
    return hashlib.sha256("/".join(map(str, (*more, *sorted(kept.ids)))).encode()).hexdigest()


def _order(kept: OpenDrill, shuffle: int) -> tuple[str, ...]:
    order = sorted(kept.ids)
    # Sorted before: where they lie in the file tells nothing of the order of play.
    random.Random(_sum(kept, shuffle)).shuffle(order)  # noqa: S311 - an order of play
    return tuple(order)


def _begin(
    root: Path, learner: Learner, kept: OpenDrill | None = None, before: Sequence[Answer] = (), **particulars: Any
) -> Session:
    now = _now()
    name = f"{now.strftime('%Y%m%dT%H%M%S%f')}-{secrets.token_hex(3)}"
    # Chained to the session before: one that is taken away is missed by the next.
    last = [b.head for b in sessions_of(root, learner)][-1:]
    book = Book(sessions_dir(root, learner) / f"{name}.jsonl")
    book.add(Opened(session=name, started=now.isoformat(timespec="seconds"), after="".join(last), **particulars))
    return Session(book, kept, before)


def start(root: Path, learner: Learner, drill: DrillSet, seed: int | None = None) -> Session:
    """Begin a kept drill. The seed decides the order; the system's own chance does where none is given."""
    kept = OpenDrill(drill, root)
    shuffle = secrets.randbits(62) if seed is None else seed
    of_drill = same_fields(drill, "title", "level", "file")
    total, names_sum = len(kept.ids), _sum(kept)
    return _begin(root, learner, kept, drill=drill.id, **of_drill, total=total, shuffle=shuffle, names_sum=names_sum)


def practise(root: Path, learner: Learner, pool: Sequence[str], title: str, total: int = SITTING) -> Session:
    """Begin a sitting of fresh rounds, each as plain as the learner's staircases say."""
    before = answers_of(root, learner)
    return _begin(
        root, learner, before=before, drill=PRACTICE, title=title, level=PRACTICE, total=total, pool=tuple(pool)
    )


def resume(root: Path, learner: Learner, name: str) -> Session:
    """Take up an unfinished session over a kept drill by its identifier, or the latest unfinished one of a drill.

    Raises LabError: none unfinished of that name, or its drill is gone."""
    for book in reversed(sessions_of(root, learner)):
        opened = book.opened
        if opened.shuffle is not None and name in (opened.session, opened.drill) and len(book.answers) < opened.total:
            drill = next((d for d in list_drills(root) if d.id == opened.drill), None) or read_drill(Path(opened.file))
            return Session(book, OpenDrill(drill, root))
    raise LabError(f"{learner.name} has no unfinished session of {name!r}; start one")


def sit_down(root: Path, learner: Learner, drill: str) -> Session:
    """Go on with the unfinished session of a kept drill, or begin a new one."""
    begun = any(book.opened.drill == drill for book in unfinished(root, learner))
    return resume(root, learner, drill) if begun else start(root, learner, find_drill(root, drill))


def unfinished(root: Path, learner: Learner) -> tuple[Book, ...]:
    """Sessions that can be resumed, oldest first; fresh rounds that were left are not met again."""
    every = sessions_of(root, learner)
    return tuple(b for b in every if len(b.answers) < b.opened.total and b.opened.drill != PRACTICE)


def sessions_of(root: Path, learner: Learner) -> tuple[Book, ...]:
    """All sessions of a learner, oldest first. Raises as :func:`listen.lab.training.book.books`."""
    return tuple(books(sessions_dir(root, learner)))


def answers_of(root: Path, learner: Learner) -> tuple[Answer, ...]:
    return tuple(a for book in sessions_of(root, learner) for a in book.answers)


def sessions_dir(root: Path, learner: Learner) -> Path:
    return learner_dir(root, learner) / SESSIONS
