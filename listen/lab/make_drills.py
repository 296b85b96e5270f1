"""Rebuilds the shipped drills from their seed: ``python -m listen.lab.make_drills [FOLDER]``."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

from listen.lab.training.lessons import SETS, lesson_set
from listen.lab.training.make_drill import write_set


def make_drills(folder: Path) -> None:
    """Write all shipped sets anew into ``folder``."""
    for level in SETS:
        drill, made = lesson_set(level)
        shutil.rmtree(folder / level, ignore_errors=True)
        write_set(drill, made, folder / level)


def main() -> int:
    """Rebuild in the folder given, or in this checkout."""
    checkout = Path(__file__).resolve().parents[2] / "recordings" / "drills"
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else checkout
    make_drills(folder)
    sys.stderr.write(f"made {folder}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
