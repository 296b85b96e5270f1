"""One sitting over one drill: blind, shuffled by its seed, each answer on disk before the truth is shown, resumable."""

from __future__ import annotations

import random
import secrets
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

from listen.errors import LabError
from listen.lab import records
from listen.lab.learners import Learner, learner_dir
from listen.lab.training.answers import Answer, BlindItem, Call, Opened, Reveal, SessionInfo, check_call
from listen.lab.training.drills import DrillItem, DrillSet, list_drills, read_drill, read_truth
from listen.rounds.loose import read_folder

SESSIONS = "sessions"


def _now() -> datetime:
    return datetime.now(UTC)


class Session:
    """A session in hand; made by :func:`start` or :func:`resume`."""

    def __init__(self, path: Path, opened: Opened, drill: DrillSet, answers: list[Answer]) -> None:
        self._path, self._opened, self._drill = path, opened, drill
        self._answers = answers
        self._items = {item.id: item for item in drill.items}
        self._heard, self._heard_number = _now(), 0
        missing = [i for i in opened.order if i not in self._items]
        if missing:
            raise LabError(f"{drill.folder}: round {missing[0]!r} of this session is gone; start the drill anew")

    @property
    def id(self) -> str:
        """Identifier of the session."""
        return self._opened.session

    @property
    def drill(self) -> DrillSet:
        """The set being played."""
        return self._drill

    @property
    def total(self) -> int:
        """Rounds in all."""
        return len(self._opened.order)

    @property
    def number(self) -> int:
        """Number of the round now to be called, from 1; ``total + 1`` when done."""
        return len(self._answers) + 1

    @property
    def done(self) -> bool:
        """Whether all are answered."""
        return len(self._answers) >= self.total

    @property
    def answers(self) -> tuple[Answer, ...]:
        """Those given so far."""
        return tuple(self._answers)

    @property
    def item(self) -> BlindItem:
        """The round now to be called.

        Raises
        ------
        LabError
            The session is done.
        RoundError
            The round's folder cannot be read.
        """
        listed = read_folder(self._drill.item_folder(self._current()), name=f"round {self.number}")
        points = tuple(dict.fromkeys(t.point for t in listed.takes))
        if self._heard_number != self.number:  # looked at again, the round in hand is not met anew
            self._heard, self._heard_number = _now(), self.number
        return BlindItem(number=self.number, of=self.total, points=points, clips=listed.takes, facts=listed.facts)

    def _current(self) -> DrillItem:
        if self.done:
            raise LabError("this session is done; start the drill again, or another one")
        return self._items[self._opened.order[len(self._answers)]]

    def answer(self, call: Call) -> Reveal:
        """Take a call; it is on disk before the truth comes back.

        Raises
        ------
        LabError
            No such call, the truth is missing, or the disk refuses.
        """
        check_call(call)
        item = self._current()
        folder = self._drill.item_folder(item)
        truth = read_truth(folder)
        now = _now()
        answer = Answer(
            item=item.id,
            paths=call.paths,
            sure=call.sure if call.paths else 0.0,
            truth=tuple(str(p) for p in truth.paths),
            focus=item.focus,
            time=now.isoformat(timespec="seconds"),
            seconds=round((now - self._heard).total_seconds(), 1),
            drill=self._drill.id,
            level=self._drill.level,
            session=self.id,
        )
        listed = read_folder(folder, name=f"round {self.number}")
        records.append(self._path, answer)
        self._answers.append(answer)
        text = " ".join(filter(None, (item.gave_away, truth.text)))
        return Reveal(
            truth=answer.truth,
            called=answer.paths,
            right=answer.right,
            focus=item.focus,
            gave_away=text,
            round=listed,
        )

    def close(self) -> None:
        """Leave; nothing is held open, and the session can be resumed."""


def start(root: Path, learner: Learner, drill: DrillSet, seed: int | None = None) -> Session:
    """Begin a drill. The seed decides the order; one is drawn where none is given."""
    seed = secrets.randbelow(2**31) if seed is None else seed
    order = [item.id for item in drill.items]
    random.Random(seed).shuffle(order)  # noqa: S311 - an order of play, not a secret
    now = _now()
    session = f"{now.strftime('%Y%m%dT%H%M%S%f')}-{secrets.token_hex(3)}"
    opened = Opened(
        session=session,
        drill=drill.id,
        title=drill.title,
        level=drill.level,
        folder=drill.folder,
        seed=seed,
        order=tuple(order),
        started=now.isoformat(timespec="seconds"),
    )
    path = sessions_dir(root, learner) / f"{session}.jsonl"
    records.append(path, opened)
    return Session(path, opened, drill, [])


def resume(root: Path, learner: Learner, name: str) -> Session:
    """Take up an unfinished session by its identifier, or the latest unfinished one of a drill.

    Raises
    ------
    LabError
        None unfinished of that name, or its drill is gone.
    """
    for path, opened, answers in reversed(list(_sessions(root, learner))):
        if name in (opened.session, opened.drill) and len(answers) < len(opened.order):
            drill = next((d for d in list_drills(root) if d.id == opened.drill), None) or read_drill(
                Path(opened.folder)
            )
            return Session(path, opened, drill, answers)
    raise LabError(f"{learner.name} has no unfinished session of {name!r}; start one")


def unfinished(root: Path, learner: Learner) -> tuple[SessionInfo, ...]:
    """Sessions that can be resumed, oldest first."""
    return tuple(s for s in sessions_of(root, learner) if s.answered < s.total)


def sessions_of(root: Path, learner: Learner) -> tuple[SessionInfo, ...]:
    """All sessions of a learner, oldest first."""
    return tuple(
        SessionInfo(
            id=opened.session,
            drill=opened.drill,
            title=opened.title,
            started=opened.started,
            answered=len(answers),
            total=len(opened.order),
        )
        for _, opened, answers in _sessions(root, learner)
    )


def answers_of(root: Path, learner: Learner) -> tuple[Answer, ...]:
    """All answers of a learner, oldest first."""
    return tuple(a for _, _, answers in _sessions(root, learner) for a in answers)


def sessions_dir(root: Path, learner: Learner) -> Path:
    """Folder of a learner's sessions."""
    return learner_dir(root, learner) / SESSIONS


def _sessions(root: Path, learner: Learner) -> Iterator[tuple[Path, Opened, list[Answer]]]:
    for path in sorted(sessions_dir(root, learner).glob("*.jsonl")):
        if heads := records.read(path, Opened, stop=1):
            yield path, heads[0], records.read(path, Answer, skip=1)
