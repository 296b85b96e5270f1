"""Signatures: a typed name over the journal's head, and an optional shop key that another machine can check."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import msgspec

from listen.errors import JobError
from listen.jobs.events import JobOpened, Signed
from listen.jobs.folder.chain import Chain, own_lines
from listen.jobs.folder.disk import create, telling
from listen.jobs.folder.home import at_home
from listen.jobs.folder.journal import prev_of
from listen.jobs.job import Job

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from listen.jobs.folder.open_job import OpenJob

FORM = "hissway.signature/1"
STATEMENT = "I have heard the clips of this round and stand by what is recorded here."
"""What a name under a round says."""
ROLE = "supervisor"
"""Who signs."""


class SignatureCheck(msgspec.Struct, frozen=True, kw_only=True):
    """What can be said of one signature."""

    event: str
    round_id: str
    name: str
    state: Literal["name-only", "good", "bad"]
    """``name-only``: no key was used, only the chain holds it. ``good``: the key's signature fits."""
    text: str


def signed_bytes(job_id: str, p: Signed) -> bytes:
    """What a key signs: a JSON array of form, job, round, name, role, statement and head, in UTF-8 without spaces."""
    return msgspec.json.encode([FORM, job_id, p.round_id, p.name, p.role, p.statement, p.head])


def sign_round(opened: OpenJob, round_id: str, *, name: str, key: Ed25519PrivateKey | None = None) -> Job:
    """Close a round under a typed name, and with the shop's key if there is one.

    Raises
    ------
    JobError
        No name typed, no such round, already signed and unchanged since, or the disk refuses.
    """
    if not name.strip():
        raise JobError("a signature needs a name; type your name as you would write it under a report")
    record = next((r for r in opened.job.rounds if r.id == round_id), None)
    if record is None:
        raise JobError(f"round {round_id!r}: this job has no such round")
    if any(s.name == name and s.role == ROLE for s in record.signatures) and not record.changed_after_signing:
        raise JobError(f"{name} has signed this round already, and nothing was changed since")
    payload = Signed(round_id=round_id, name=name, role=ROLE, statement=STATEMENT, head=opened.head)
    if key is not None:
        payload = msgspec.structs.replace(
            payload,
            public_key=key.public_key().public_bytes_raw().hex(),
            signature=key.sign(signed_bytes(opened.job.id, payload)).hex(),
        )
    return opened.append(payload, actor=name)


def check_signatures(chain: Chain) -> tuple[SignatureCheck, ...]:
    """Check every signature of a journal, those of merged branches included."""
    job_id = ""
    checks: list[SignatureCheck] = []
    for line in own_lines(chain.lines):
        payload = line.event.payload
        if isinstance(payload, JobOpened):
            job_id = payload.job
        elif isinstance(payload, Signed):
            checks.append(_check(job_id, payload, line.event.id, prev_of(line.raw)))
    return tuple(checks)


def _check(job_id: str, p: Signed, event: str, prev: str) -> SignatureCheck:
    state: Literal["name-only", "good", "bad"] = "bad"
    if p.head != prev:
        text = "its head is not the line before it: it was made for another journal"
    elif not p.public_key and not p.signature:
        state, text = "name-only", "typed name, no key; held by the chain alone"
    elif not _fits(job_id, p):
        text = f"the signature does not fit the key {fingerprint(p.public_key)}: text or key was changed"
    else:
        state, text = "good", f"signed with key {fingerprint(p.public_key)}; compare it with the one the shop gave you"
    return SignatureCheck(event=event, round_id=p.round_id, name=p.name, state=state, text=text)


def _fits(job_id: str, p: Signed) -> bool:
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(p.public_key))
        key.verify(bytes.fromhex(p.signature), signed_bytes(job_id, p))
    except (ValueError, InvalidSignature):
        return False
    return True


def fingerprint(public_key: str) -> str:
    """The public key in groups that can be read out over a telephone."""
    return " ".join(public_key[i : i + 8] for i in range(0, min(len(public_key), 64), 8))


def make_key(path: Path) -> Ed25519PrivateKey:
    """Make a shop key in a new file that only its owner can read; an existing one is never replaced.

    Raises
    ------
    JobError
        A file of that name exists, or it cannot be written.
    """
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    key = Ed25519PrivateKey.generate()
    pem = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    with telling("write the shop key", path):
        if path.exists():
            raise JobError(f"{path}: a shop key is there already; it is not replaced")
        path.parent.mkdir(parents=True, exist_ok=True)
        create(path, pem, mode=0o600)
    return key


def load_key(path: Path) -> Ed25519PrivateKey:
    """Read a shop key.

    Raises
    ------
    JobError
        Missing, unreadable, or not an Ed25519 key without a password.
    """
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    with telling("read the shop key", path):
        data = path.read_bytes()
    try:
        key = serialization.load_pem_private_key(data, password=None)
    except (ValueError, TypeError) as e:
        raise JobError(f"{path}: not a shop key (a PEM file with an Ed25519 key and no password)") from e
    if not isinstance(key, Ed25519PrivateKey):
        raise JobError(f"{path}: a key of another sort; a shop key is Ed25519")
    return key


def shop_key() -> Ed25519PrivateKey | None:
    """The shop's key on this machine; None where none was made.

    Raises
    ------
    JobError
        As :func:`load_key`, for a file that is there.
    """
    path = key_path()
    return load_key(path) if path.exists() else None


def key_path() -> Path:
    """Where the shop key lies: ``HISSWAY_KEY``, else the platform's user data folder."""
    if chosen := os.environ.get("HISSWAY_KEY"):
        return at_home(chosen)
    import platformdirs

    return platformdirs.user_data_path("hissway", appauthor=False) / "shop-key.pem"
