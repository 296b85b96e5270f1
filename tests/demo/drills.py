"""The shipped drills, from their seed."""

from __future__ import annotations

from hashlib import sha256
from pathlib import Path

from listen.lab.training.drills import SUFFIX, write_drill
from listen.lab.training.seal import NONCE_BYTES, SHIPPED_KEY
from tests.demo.lessons import LESSON_SEED, SETS, lesson_set


def make_drills(folder: Path) -> None:
    """Write all shipped sets anew into ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    for level in SETS:
        drill, rounds = lesson_set(level)
        file = folder / f"{level}{SUFFIX}"
        file.unlink(missing_ok=True)
        # One content, one key, one nonce: the same seed gives the same bytes.
        nonce = sha256(f"{LESSON_SEED}/{level}".encode()).digest()[:NONCE_BYTES]
        write_drill(drill, rounds, file, SHIPPED_KEY, nonce=nonce)
