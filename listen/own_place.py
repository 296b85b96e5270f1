"""Where a user's own things lie: as they say, or where the platform keeps such."""

import os
from pathlib import Path

from listen.errors import UsageError


def own_place(name: str, variable: str, option: str | Path | None = None) -> Path:
    """The option, else what an environment variable says, else ``name`` in the platform's user data folder.

    Raises UsageError: it begins with ``~`` and there is no such user, or the home folder is not known."""
    chosen = option or os.environ.get(variable)
    if not chosen:
        import platformdirs  # only where nobody chose

        return platformdirs.user_data_path("hissway", appauthor=False) / name
    try:
        return Path(chosen).expanduser()
    except RuntimeError:
        home = Path(chosen).parts[0]
        raise UsageError(f"{chosen}: no home folder is known for {home}; give the folder whole") from None
