"""What is said and kept in a drill: the round as met blind, a call, the answer on disk, what is shown afterwards."""

from __future__ import annotations

import msgspec

from listen.errors import LabError
from listen.rounds.model import Facts, Round, Take
from listen.trade.points import PathId

CALLABLE: tuple[str, ...] = tuple(str(p) for p in PathId)
"""Paths a learner may name; ``none`` is sound."""
MAX_PATHS = 2


class Opened(msgspec.Struct, frozen=True, kw_only=True):
    """First line of a session's file."""

    schema: str = "hissway.lab-session/1"
    session: str
    drill: str
    title: str
    level: str
    folder: str
    seed: int
    order: tuple[str, ...]
    """Items as they will be played."""
    started: str


class Call(msgspec.Struct, frozen=True, kw_only=True):
    """What a learner says."""

    paths: tuple[str, ...] = ()
    """One path, or two where both are at work; empty means "cannot tell"."""
    sure: float = 0.0
    """0 to 1; of no account where nothing is named."""


class Answer(msgspec.Struct, frozen=True, kw_only=True):
    """One answered item, with the truth as it stood, so that scores outlive the drill."""

    item: str
    paths: tuple[str, ...]
    sure: float
    truth: tuple[str, ...]
    focus: tuple[str, ...] = ()
    time: str
    seconds: float
    """From hearing to answering."""
    drill: str = ""
    level: str = ""
    session: str = ""

    @property
    def right(self) -> bool | None:
        """Whether every path named is truly there; None where nothing was named."""
        return set(self.paths) <= set(self.truth) if self.paths else None


class BlindItem(msgspec.Struct, frozen=True, kw_only=True):
    """One round as the learner meets it."""

    number: int
    of: int
    points: tuple[str, ...]
    """In walking order."""
    clips: tuple[Take, ...]
    facts: Facts


class Reveal(msgspec.Struct, frozen=True, kw_only=True):
    """What is shown after an answer."""

    truth: tuple[str, ...]
    called: tuple[str, ...]
    right: bool | None
    focus: tuple[str, ...]
    gave_away: str
    round: Round
    """To be judged for the numbers and drawn as spectra."""


class SessionInfo(msgspec.Struct, frozen=True, kw_only=True):
    """A session on disk."""

    id: str
    drill: str
    title: str
    started: str
    answered: int
    total: int


def check_call(call: Call) -> None:
    """Refuse what cannot be a call.

    Raises
    ------
    LabError
        Unknown or doubled path, more than two, ``none`` with another, or confidence outside 0-1.
    """
    unknown = [p for p in call.paths if p not in CALLABLE]
    if unknown:
        raise LabError(f"{unknown[0]!r} is not an escape path; known: {' '.join(CALLABLE)}")
    if len(set(call.paths)) != len(call.paths) or len(call.paths) > MAX_PATHS:
        raise LabError(f"{len(call.paths)} paths named; one, or two different ones, or none for cannot tell")
    if "none" in call.paths and len(call.paths) > 1:
        raise LabError("sound and a leak cannot both be called; choose one")
    if not 0.0 <= call.sure <= 1.0:
        raise LabError(f"confidence {call.sure:g}; from 0 to 1 it must be")
