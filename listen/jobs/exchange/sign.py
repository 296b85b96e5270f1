"""Signatures: a typed name over the journal's head, an optional shop key that another machine can check, and
the sentence signed under: only what the journal shows that its signer decided, saw and heard."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import msgspec

from listen.errors import JobError
from listen.jobs.decision import Decision, Heard
from listen.jobs.events import Confirmed, Event, JobOpened, Overruled, Signed
from listen.jobs.exchange.keys import fingerprint, is_small_order
from listen.jobs.folder.chain import Chain, own_lines
from listen.jobs.hearing import same_person
from listen.jobs.job import Job, RoundRecord
from listen.voice.names import paths

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from listen.jobs.folder.open_job import OpenJob


FORM = "hissway.signature/1"
ROLE = "supervisor"


class SignatureCheck(msgspec.Struct, frozen=True, kw_only=True):
    event: Event
    signed: Signed
    state: Literal["name-only", "good", "bad"]
    """``name-only``: no key was used, only the chain holds it. ``good``: the key's signature fits."""
    text: str


def signed_bytes(job_id: str, p: Signed) -> bytes:
    """What a key signs: a JSON array of form, job, round, name, role, statement and head, in UTF-8 without spaces."""
    return msgspec.json.encode([FORM, job_id, p.round_id, p.name, p.role, p.statement, p.head])


def sign_round(opened: OpenJob, round_id: str, *, name: str, key: Ed25519PrivateKey | None = None) -> Job:
    """Close a round under a typed name, and with the shop's key if there is one.

    Raises JobError: no name typed, no such round, already signed and unchanged since, or the disk refuses.
    JobChanged: another program wrote something about the round that is not known here yet."""
    if not name.strip():
        raise JobError("a signature needs a name; type your name as you would write it under a report")
    known = opened.job
    with opened.writing():  # a signature closes the journal up to the line before it
        record = opened.job.find_round(round_id)
        if record is None:
            raise JobError(f"round {round_id!r}: this job has no such round")
        if any(s.name == name and s.role == ROLE for s in record.signatures) and not record.changed_after_signing:
            raise JobError(f"{name} has signed this round already, and nothing was changed since")
        payload = Signed(
            round_id=round_id, name=name, role=ROLE, statement=statement(record, name), head=opened.chain.head
        )
        if key is not None:
            payload = msgspec.structs.replace(
                payload,
                public_key=key.public_key().public_bytes_raw().hex(),
                signature=key.sign(signed_bytes(opened.job.id, payload)).hex(),
            )
        return opened.append(payload, actor=name, known=known)


def check_signatures(chain: Chain) -> tuple[SignatureCheck, ...]:
    """Check every signature of a journal, those of merged branches included."""
    lines = [(p, line) for line in own_lines(chain.lines) if isinstance(p := line.event.payload, JobOpened | Signed)]
    job_id = next((p.job for p, _ in lines if isinstance(p, JobOpened)), "")
    return tuple(_check(job_id, p, one.event, one.prev) for p, one in lines if isinstance(p, Signed))


def _check(job_id: str, p: Signed, event: Event, prev: str) -> SignatureCheck:
    state: Literal["name-only", "good", "bad"] = "bad"
    if p.head != prev:
        text = "its head is not the line before it: it was made for another journal"
    elif not p.public_key and not p.signature:
        state, text = "name-only", "typed name, no key; held by the chain alone"
    elif not _fits(job_id, p):
        text = f"the signature does not fit the key {fingerprint(p.public_key)}: it was changed, or holds nothing"
    else:
        state, text = "good", f"signed with key {fingerprint(p.public_key)}"
    return SignatureCheck(event=event, signed=p, state=state, text=text)


def _fits(job_id: str, p: Signed) -> bool:
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        public = bytes.fromhex(p.public_key)
        # Under a key of small order one signature fits many texts: it proves nothing.
        if is_small_order(public):
            return False
        key = Ed25519PublicKey.from_public_bytes(public)
        key.verify(bytes.fromhex(p.signature), signed_bytes(job_id, p))
    except (ValueError, InvalidSignature):
        return False
    return True


def statement(record: RoundRecord, name: str) -> str:
    """What a signature under the round says now, for whoever signs by this name."""
    decision = record.decision
    if decision is None:
        return "I have made no decision on this round; I stand by what is recorded here."
    mine = same_person(decision.payload.name, name)
    return ("" if mine else f"I sign the decision of {decision.payload.name}: ") + statement_on(decision)


def statement_on(decision: Decision) -> str:
    """What was decided, how it was heard, and who recorded it."""
    decided, own = decision.payload, "I recorded this round myself. " if decision.own_work else ""
    said = "I agree with the program's verdict." if isinstance(decided, Confirmed) else "I have sent this round back."
    if isinstance(decided, Overruled):
        said = f"I overrule the program's verdict: {paths(decided.paths)}."
    return f"{said} {heard_words(decision.heard)} {own}I stand by what is recorded here."


def heard_words(heard: Heard) -> str:
    """How the round was heard before the decision, as one sentence in the first person."""
    if not heard.recorded:
        return "How the clips were heard was not recorded."
    if not heard.pairs:
        return "I have seen the numbers and heard no clips."
    points = f"{len(heard.pairs)} point{'s' if len(heard.pairs) > 1 else ''}"
    times = sum(n for _, n in heard.pairs)
    played = f"air off and air on at {points}, {times} time{'s' if times > 1 else ''} in all"
    if heard.blind:
        return f"I have heard {played}, and called by ear before any number was shown to me."
    return f"With the numbers seen, I have heard {played}."
