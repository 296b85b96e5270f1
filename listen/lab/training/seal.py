"""Sealing drills: clips and truth in one file that opens only with a key, so that no look at files tells a truth.

AES-256-GCM of the library ``cryptography`` (NIST SP 800-38D). The drills that come with the program are sealed with a
key that anyone who reads this program has: that keeps a truth from being read by opening a file, no more. A shop's own
drills are sealed with the lab's own key, a file that an instructor may keep elsewhere (``HISSWAY_LAB_KEY``).
"""

import hashlib
import os
import secrets
from pathlib import Path

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from listen.durable import make_folders, new_file
from listen.errors import LabError

KEY_FILE = "drills.key"
KEY_BYTES = 32
NONCE_BYTES = 12
SHIPPED_KEY = hashlib.sha256(b"drills that come with the program").digest()


def lab_key(root: Path, *, make: bool = False) -> bytes:
    """The key of a lab's own drills (``HISSWAY_LAB_KEY``, else in the lab); with ``make``, a new one if there is none.

    Raises LabError: no key there, or one that cannot be read or written."""
    path = Path(os.environ.get("HISSWAY_LAB_KEY") or root / KEY_FILE)
    try:
        if make and not path.exists():
            # Readable by its owner alone: whoever has it reads every truth of the shop's own drills.
            make_folders(path.parent)
            with os.fdopen(new_file(path, mode=0o600), "w", encoding="ascii") as file:
                file.write(secrets.token_hex(KEY_BYTES) + "\n")
        key = bytes.fromhex(path.read_text(encoding="ascii").strip())
    except FileNotFoundError:
        raise LabError(
            f"{path}: the key of this lab's drills is not here; the instructor has it (HISSWAY_LAB_KEY says where)"
        ) from None
    except (OSError, ValueError) as error:
        raise LabError(f"{path}: is no key of a lab ({error}); take it from a backup") from error
    if len(key) != KEY_BYTES:
        raise LabError(f"{path}: is no key of a lab (64 hex digits it must be); take it from a backup")
    return key


def fingerprint(key: bytes) -> str:
    """By which a drill says which key opens it."""
    return hashlib.sha256(b"hissway.drill-key/" + key).hexdigest()[:16]


def seal(data: bytes, head: bytes, key: bytes, nonce: bytes | None = None) -> bytes:
    """``data`` closed under ``key``; ``head`` stays open and is held together with it. Shipped sets state a nonce."""
    nonce = nonce or secrets.token_bytes(NONCE_BYTES)
    return nonce + AESGCM(key).encrypt(nonce, data, head)


def unseal(data: bytes, head: bytes, key: bytes) -> bytes | None:
    """What was sealed; None where the key is another, or a bit was changed."""
    try:
        return AESGCM(key).decrypt(data[:NONCE_BYTES], data[NONCE_BYTES:], head)
    except (InvalidTag, ValueError):
        return None
