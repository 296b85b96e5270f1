"""Rebuilds the shipped drills from their seed: ``python -m listen.lab.make_drills [FOLDER]``."""

from __future__ import annotations

import sys
from hashlib import sha256
from pathlib import Path

from listen.lab.training.drills import SUFFIX, write_drill
from listen.lab.training.lessons import LESSON_SEED, SETS, lesson_set
from listen.lab.training.seal import NONCE_BYTES, SHIPPED_KEY


def make_drills(folder: Path) -> None:
    """Write all shipped sets anew into ``folder``."""
    for level in SETS:
        drill, rounds = lesson_set(level)
        file = folder / f"{level}{SUFFIX}"
        file.unlink(missing_ok=True)
        # One content, one key, one nonce: the same seed gives the same bytes.
        nonce = sha256(f"{LESSON_SEED}/{level}".encode()).digest()[:NONCE_BYTES]
        write_drill(drill, rounds, file, SHIPPED_KEY, nonce=nonce)


def main() -> int:
    """Rebuild in the folder given, or in this checkout."""
    checkout = Path(__file__).resolve().parents[2] / "recordings" / "drills"
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else checkout
    make_drills(folder)
    sys.stderr.write(f"made {folder}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
