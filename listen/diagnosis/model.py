"""The result of the diagnosis: faults with their rivals, checks and limits; contradictions; what was not tested."""

from typing import Literal

import msgspec

from listen.diagnosis.weigh import Line
from listen.trade.checks import Check

DISCLAIMER = (
    "Odds rest on weights that are the authors' estimates, to be corrected by findings. "
    "The engine maker's data and a qualified person decide; nothing here is a repair order."
)
"""Stands wherever a diagnosis is shown."""

Kind = Literal["nothing-entered", "open", "one-cause", "two-causes", "several-faults", "repeat-test", "nothing-found"]
StandingWord = Literal["not tested", "cannot tell", "sound", "watch", "suspect", "fault", "test again"]


class Candidate(msgspec.Struct, frozen=True):
    cause: str
    words: str
    score_db: float
    probability: float
    """Share among all causes known here, if one of them is the case."""


class Fault(msgspec.Struct, frozen=True, kw_only=True):
    """One thing that is wrong, as far as it can be told, and how to tell further."""

    cause: str
    words: str
    cylinders: tuple[int, ...]
    """Empty: the whole engine, or a cylinder not known."""
    place: str
    """``cylinder 3``, ``the whole engine``, ``cylinder not known``."""
    probability: float
    score_db: float
    sure: str
    rivals: tuple[Candidate, ...]
    """Causes within 6 dB (4 to 1) that some evidence speaks for: both are said."""
    runner_up: Candidate | None
    prior_db: float
    supports: tuple[Line, ...]
    against: tuple[Line, ...]
    capped_db: float
    next_check: Check
    checks: tuple[Check, ...]
    """Further checks worth making, the next one first; none made already."""
    repeat_first: bool
    """True where the test itself is nearly as likely: the next check is then its repeat."""
    not_meant: str
    owner: str
    not_tested: tuple[str, ...]
    """Tests that would speak of this cause and were not made here."""
    text: str


class Contradiction(msgspec.Struct, frozen=True):
    id: str
    cylinders: tuple[int, ...]
    words: str
    then: str


class CylinderStanding(msgspec.Struct, frozen=True):
    """How one cylinder stands, for a drawing."""

    cylinder: int
    word: StandingWord
    cause: str = ""
    """Leading cause where there is a fault or suspicion."""
    words: str = ""


MADE = "made"
"""Note of a test with nothing left open."""


class TestState(msgspec.Struct, frozen=True):
    """One kind of test: on which cylinders it was made, what it is blind to."""

    __test__ = False

    test: str
    words: str
    cylinders: tuple[int, ...]
    made: bool
    note: str
    blind_to: tuple[str, ...]
    misleads: tuple[str, ...]


class Diagnosis(msgspec.Struct, frozen=True, kw_only=True):
    schema: str = "hissway.diagnosis/1"
    kind: Kind
    text: str
    faults: tuple[Fault, ...]
    candidates: tuple[Candidate, ...]
    stop_for: tuple[str, ...]
    """Causes in sight with which the engine is not to be started or driven; not empty: the caution stands first."""
    stop_why: tuple[str, ...]
    """What was found that says so, in words."""
    contradictions: tuple[Contradiction, ...]
    cylinders: tuple[CylinderStanding, ...]
    tests: tuple[TestState, ...]
    shop_rows: tuple[str, ...] = ()
    """Rows of the tables that this shop wrote itself."""
    shop_trouble: str = ""
    """What is wrong with the shop's own rows; empty where nothing is."""
    disclaimer: str = DISCLAIMER
