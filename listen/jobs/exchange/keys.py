"""The shop's key: made once in a file only its owner reads, known to others by its fingerprint."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import TYPE_CHECKING

from listen.errors import JobError
from listen.jobs.folder.disk import create, job_errors
from listen.jobs.folder.home import at_home

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
    """Whether a public key is one of the few under which forging is easy."""
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
        create(path, pem, mode=0o600)
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
    if chosen := os.environ.get("HISSWAY_KEY"):
        return at_home(chosen)
    import platformdirs

    return platformdirs.user_data_path("hissway", appauthor=False) / "shop-key.pem"
