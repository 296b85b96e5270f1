"""Where the lab keeps learners and drills on this machine."""

import os
from pathlib import Path

from listen.jobs.folder.home import at_home


def lab_root(option: str | Path | None = None) -> Path:
    """Folder of the lab: the option, else ``HISSWAY_LAB``, else the platform's user data folder.

    Raises
    ------
    UsageError
        As :func:`listen.jobs.folder.home.at_home`.
    """
    if chosen := option or os.environ.get("HISSWAY_LAB"):
        return at_home(chosen)
    import platformdirs  # only where nobody chose

    return platformdirs.user_data_path("hissway", appauthor=False) / "lab"


def learners_dir(root: Path) -> Path:
    """Folder of all learners."""
    return root / "learners"


def drills_dir(root: Path) -> Path:
    """Folder of the shop's own drills."""
    return root / "drills"
