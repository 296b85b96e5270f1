"""What checking a job gives: what does not match, what is worth knowing, what was left unchecked, and what a
signature is worth here: compared with the keys known and those asked for."""

from typing import Literal

import msgspec

from listen.jobs.exchange.keys import KnownKey, fingerprint
from listen.jobs.exchange.sign import SignatureCheck
from listen.jobs.hearing import same_person
from listen.voice.times import day


class Trust(msgspec.Struct, frozen=True, kw_only=True):
    keys: tuple[KnownKey, ...] = ()
    demanded: tuple[str, ...] = ()
    """Public keys, hex, by one of which every signature must be made; empty where none is asked for."""

    def whose(self, public_key: str) -> str:
        """Name under which a key is known; empty where it is not."""
        return next((k.name for k in self.keys if k.public_key == public_key), "")


def fault(check: SignatureCheck, shop: str, trust: Trust) -> str:
    """Why a signature does not count as what it says it is; empty where nothing is known against it."""
    if check.state == "bad":
        return check.text
    if trust.demanded and check.public_key not in trust.demanded:
        made = f"made with key {fingerprint(check.public_key)}" if check.public_key else "a typed name without a key"
        return f"is {made}, not with the key that was asked for"
    if check.public_key:
        if trust.keys and not trust.demanded and not trust.whose(check.public_key):
            return (
                f"made with key {fingerprint(check.public_key)}, which is not among the keys known here; if it is the "
                "one they gave you, hissway key --allow puts it on the list"
            )
        return ""
    for key in trust.keys:
        mine = same_person(key.name, check.name) or same_person(key.name, shop)
        if mine and key.since and key.since <= check.time:
            return f"a typed name without a key, but {key.name} has signed with one since {day(key.since)}"
    return ""


def remark(check: SignatureCheck, trust: Trust) -> str:
    """What there is to say of a signature nothing is known against."""
    if not check.public_key:
        return check.text
    whose = trust.whose(check.public_key)
    return (
        f"{check.text}, known here as that of {whose}"
        if whose
        else f"{check.text}; compare it with the one the shop gave you"
    )


What = Literal["journal", "history", "clip", "signature", "decision", "result", "summary", "bag", "report"]


class Mismatch(msgspec.Struct, frozen=True):
    what: What
    name: str
    text: str


class Against(msgspec.Struct, frozen=True, kw_only=True):
    trust: Trust = Trust()
    head: str = ""
    """Hash of a journal line that must be in its history, as a report or bag printed it; empty where none is given."""
    register: bool = True
    """Whether a register beside the job's folder is consulted."""


ALONE = Against()


class Verification(msgspec.Struct, frozen=True, kw_only=True):
    job: str
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
        return not self.mismatches

    @property
    def complete(self) -> bool:
        return not self.skipped
