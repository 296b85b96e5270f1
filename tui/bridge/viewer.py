"""Hands a file or folder to the system's own viewer."""

import shutil
import subprocess
import sys
from pathlib import Path

from listen.errors import HisswayError


def show_in_system(path: Path) -> None:
    """Open a file or folder as a double click would.

    Raises HisswayError: there is nothing to open it with; the sentence says where it lies."""
    if sys.platform == "win32":
        import os

        os.startfile(path)  # noqa: S606 - what a double click does
        return
    opener = shutil.which("open" if sys.platform == "darwin" else "xdg-open")
    if opener is None:
        raise HisswayError(f"nothing on this machine opens it; it lies at {path}")
    subprocess.Popen(
        [opener, str(path)], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
