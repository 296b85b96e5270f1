"""What a person decided about a round, and how they had heard it: facts of the journal, never claims."""

import msgspec

from listen.jobs.events import ByEarCalled, Confirmed, Event, Judged, Overruled, SentBack, Signed


class Heard(msgspec.Struct, frozen=True, kw_only=True):
    """What had been shown and played to a person when they decided."""

    recorded: bool = False
    """False where the program that wrote the decision kept no account of it."""
    pairs: tuple[tuple[str, int], ...] = ()
    """Points at which quiet and air were played to them, with how often."""
    pairs_before_call: int = 0
    """How many were played before they called."""
    called: ByEarCalled | None = None
    """Their own call by ear in this sitting; a declined one included."""
    numbers_first: bool = False
    """True where numbers of the round were shown to them before they called, or they never called."""

    @property
    def blind(self) -> bool:
        """Whether they heard clips and called a path before any number was shown to them."""
        called = self.called is not None and not self.called.declined and not self.numbers_first
        return called and self.pairs_before_call > 0


class Decision(msgspec.Struct, frozen=True, kw_only=True):
    event: Event
    payload: Confirmed | Overruled | SentBack
    on: Judged | None = None
    settles: frozenset[str] = frozenset()
    """Ids of earlier decisions on the round that this person knew of; this one takes their place."""
    heard: Heard = Heard()
    own_work: bool = False
    """True where the person who decides recorded the round, or is the tech of the job."""
    clips_before: int = 0
    signatures: tuple[Signed, ...] = ()

    @property
    def authority(self) -> int:
        """How strongly it is held: 2 by a key's signature, 1 by a typed name's, 0 unsigned."""
        return max((2 if s.public_key else 1 for s in self.signatures), default=0)


ASKED = "asked-for-"


def asked_step(decision: Decision) -> str:
    """Name of the step that a round was sent back for: left out, it is answered, and no figure of the point goes."""
    return f"{ASKED}{decision.event.id}"
