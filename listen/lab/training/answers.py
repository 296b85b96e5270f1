"""What is said and kept in a drill: the lines of a session's file, a call, the answer with its truth."""

import msgspec

from listen.errors import LabError
from listen.trade.points import PathId

CALLABLE: tuple[str, ...] = tuple(str(p) for p in PathId)
"""Paths a learner may name; ``none`` is sound."""
MAX_PATHS = 2


class Opened(msgspec.Struct, frozen=True, kw_only=True, tag="opened"):
    """First line of a session's file."""

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


class Heard(msgspec.Struct, frozen=True, kw_only=True, tag="heard"):
    """The call by ear, before any reading was told."""

    paths: tuple[str, ...]
    sure: float
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
