"""The shop's key: made once in a file only its owner reads, known to others by its fingerprint; and the keys
a machine knows by name, its own and those it was given, a line each in a file beside its own key."""

from __future__ import annotations

import os
import re
import stat
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from listen.durable import job_errors, replace, whole_file
from listen.errors import JobError
from listen.jobs.folder.journal import utc_now
from listen.own_place import own_place

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey


SMALL_ORDER = frozenset(
    bytes.fromhex(row)
    for row in (
        "0000000000000000000000000000000000000000000000000000000000000000",
        "0100000000000000000000000000000000000000000000000000000000000000",
        "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05",
        "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a",
        "ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
        "edffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
        "eeffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
    )
)
"""Encodings, without the sign bit, of the points of order 1, 2, 4 and 8 on edwards25519 (RFC 8032, 5.1), those beyond
the field included. Under such a key one signature fits many texts, so it holds nothing."""


def is_small_order(public_key: bytes) -> bool:
    return len(public_key) == 32 and public_key[:31] + bytes([public_key[31] & 0x7F]) in SMALL_ORDER


def fingerprint(public_key: str) -> str:
    """The public key in groups that can be read out over a telephone."""
    return " ".join(public_key[i : i + 8] for i in range(0, min(len(public_key), 64), 8))


def make_key(path: Path) -> Ed25519PrivateKey:
    """Make a shop key in a new file that only its owner can read; an existing one is never replaced.

    Raises JobError: a file of that name exists, or it cannot be written."""
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    key = Ed25519PrivateKey.generate()
    pem = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption())
    with job_errors("write the shop key", path):
        if path.exists():
            raise JobError(f"{path}: a shop key is there already; it is not replaced")
        path.parent.mkdir(parents=True, exist_ok=True)
        with whole_file(path, mode=0o600) as file:
            file.write(pem)
    return key


def load_key(path: Path) -> Ed25519PrivateKey:
    """Read a shop key. Raises JobError: missing, unreadable, or not an Ed25519 key without a password."""
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    with job_errors("read the shop key", path):
        data = path.read_bytes()
    try:
        key = serialization.load_pem_private_key(data, password=None)
    except (ValueError, TypeError) as e:
        raise JobError(f"{path}: not a shop key (a PEM file with an Ed25519 key and no password)") from e
    if not isinstance(key, Ed25519PrivateKey):
        raise JobError(f"{path}: a key of another sort; a shop key is Ed25519")
    return key


def open_to_others(path: Path) -> str:
    """A sentence where others on this machine may read or change a key file; empty where they may not.

    On Windows, where the mode says nothing of it, always empty.
    """
    try:
        mode = stat.S_IMODE(path.stat().st_mode)
    except OSError:
        return ""
    if os.name == "nt" or not mode & 0o077:
        return ""
    return f"{path}: others on this machine can read or change this key (mode {mode:03o}); run chmod 600 on it"


def shop_key() -> Ed25519PrivateKey | None:
    """The shop's key on this machine; None where none was made.

    Raises JobError: as :func:`load_key`, for a file that is there."""
    path = key_path()
    return load_key(path) if path.exists() else None


def key_path() -> Path:
    """Where the shop key lies: ``HISSWAY_KEY``, else the platform's user data folder."""
    return own_place("shop-key.pem", "HISSWAY_KEY")


OWN = "this machine's own key"
_LINE = re.compile(r"(?P<public_key>[0-9a-f]{64}) (?P<since>\S{1,40}) (?P<name>\S.{0,119})")
_MAX_BYTES = 1_000_000


class KnownKey(msgspec.Struct, frozen=True, kw_only=True):
    public_key: str
    name: str
    since: str = ""
    """When it was put on the list, UTC, ISO 8601; empty for a key of this machine that is not on it."""


def list_path() -> Path:
    return key_path().with_name("known-keys.txt")


def known_keys() -> tuple[KnownKey, ...]:
    """The list, and this machine's own key whether it is on the list or not.

    Raises JobError: the list cannot be read, or a line of it is none; the own key cannot be read."""
    known, key = _listed(), shop_key()
    own = key.public_key().public_bytes_raw().hex() if key else ""
    if not own or any(k.public_key == own for k in known):
        return known
    # A machine always knows its own key, whether or not anybody put it on the list.
    return (*known, KnownKey(public_key=own, name=OWN))


def allow(key: str, name: str) -> KnownKey:
    """Put a key on the list, from today on, under a name; in the place of what the list said of it.

    Raises JobError: no key or no name, a key that holds nothing, or the list cannot be written."""
    found = KnownKey(public_key=as_key(key), name=" ".join(name.split()), since=utc_now())
    if _LINE.fullmatch(_row(found)) is None or not found.name.isprintable():
        raise JobError(f"{name!a}: give the name of the shop or person whose key it is, up to 120 characters")
    _write([*(k for k in _listed() if k.public_key != found.public_key), found])
    return found


def forget(key: str) -> None:
    """Take a key off the list. Raises JobError: it is not on the list, or the list cannot be written."""
    wanted, known = as_key(key), _listed()
    if all(k.public_key != wanted for k in known):
        raise JobError(f"{fingerprint(wanted)}: this key is not on the list; hissway key --list shows it")
    _write([k for k in known if k.public_key != wanted])


def as_key(text: str) -> str:
    """A fingerprint as it was read out or copied, as hex.

    Raises JobError: not 64 hex digits, or one of the few keys that hold nothing."""
    key = "".join(text.split()).lower()
    if re.fullmatch("[0-9a-f]{64}", key) is None:
        raise JobError(f"{text[:100]!a}: a fingerprint is 64 hex digits, blanks between them or not; give it whole")
    if is_small_order(bytes.fromhex(key)):
        raise JobError(f"{fingerprint(key)}: under this key anyone can sign; it is refused")
    return key


def _listed() -> tuple[KnownKey, ...]:
    path, known = list_path(), []
    with job_errors("read the list of keys", path):
        # Bounded: whatever lies under that name is read no further.
        lines = path.read_bytes()[: _MAX_BYTES + 1].splitlines() if path.exists() else []
    for n, line in enumerate((line for line in lines if line.strip()), 1):
        try:
            found = _LINE.fullmatch(line.decode())
        except UnicodeDecodeError:
            found = None
        if found is None:
            raise JobError(f"{path}: line {n} is not a key, a time and a name; mend or remove it")
        known.append(KnownKey(**found.groupdict()))
    return tuple(known)


def _row(key: KnownKey) -> str:
    return f"{key.public_key} {key.since} {key.name}"


def _write(keys: list[KnownKey]) -> None:
    path = list_path()
    with job_errors("write the list of keys", path):
        path.parent.mkdir(parents=True, exist_ok=True)
        replace(path, "".join(f"{_row(k)}\n" for k in keys).encode())
