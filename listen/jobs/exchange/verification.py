"""What checking a job gives: what does not match, what is worth knowing, and what was left unchecked."""

from typing import Literal

import msgspec

from listen.jobs.exchange.trust import Trust

What = Literal["journal", "history", "clip", "signature", "decision", "result", "summary", "bag", "report"]


class Mismatch(msgspec.Struct, frozen=True):
    """One thing that is not as it was recorded."""

    what: What
    name: str
    """File, event or round it concerns."""
    text: str


class Against(msgspec.Struct, frozen=True, kw_only=True):
    """What a job is held against besides itself."""

    trust: Trust = Trust()
    head: str = ""
    """Hash of a journal line that must be in its history, as a report or bag printed it; empty where none is given."""
    register: bool = True
    """Whether a register beside the job's folder is consulted."""


ALONE = Against()
"""Nothing but the job itself and the register beside it."""


class Verification(msgspec.Struct, frozen=True, kw_only=True):
    """What was checked and what does not match."""

    job: str
    """Title of the job."""
    head: str = ""
    """Hash of the journal's last line: keep it elsewhere, and ``verify --head`` notices any other history."""
    events: int = 0
    clips: int = 0
    signatures: int = 0
    results: int = 0
    """Stored results judged again, or found in what a known key or a known head vouches for."""
    skipped: int = 0
    """Stored results that were not judged again and that nothing vouches for."""
    mismatches: tuple[Mismatch, ...] = ()
    remarks: tuple[str, ...] = ()
    """What is no mismatch but worth knowing: keys to compare, changes after signing, results by an older judge."""

    @property
    def ok(self) -> bool:
        """Whether nothing that was checked is other than recorded."""
        return not self.mismatches

    @property
    def complete(self) -> bool:
        """Whether everything was checked."""
        return not self.skipped
