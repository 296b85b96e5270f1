"""Folders that a user names with ``~``."""

from pathlib import Path

from listen.errors import UsageError


def at_home(path: str | Path) -> Path:
    """The path with ``~`` or ``~user`` at its beginning replaced by that home folder.

    Raises UsageError: there is no such user, or the home folder is not known."""
    try:
        return Path(path).expanduser()
    except RuntimeError:
        raise UsageError(f"{path}: no home folder is known for {Path(path).parts[0]}; give the folder whole") from None
