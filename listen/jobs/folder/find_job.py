"""The job somebody means on the command line: a folder, or a name among their jobs."""

from pathlib import Path

from listen.errors import JobError
from listen.jobs.folder.summary import list_jobs

SHOWN = 5
"""Names listed in a message."""


def find_job(wanted: str, root: Path) -> Path:
    """Give the folder: a path as it is, else the only job under ``root`` whose folder name or id begins so.

    Raises JobError: none, or more than one; the message names some."""
    if wanted and Path(wanted).is_dir():
        return Path(wanted)
    rows = list_jobs(root)
    exact = [r for r in rows if r.folder == wanted]
    fits = exact or [r for r in rows if wanted and (r.folder.startswith(wanted) or r.id.startswith(wanted))]
    if len(fits) == 1:
        return root / fits[0].folder
    names = ", ".join(r.folder for r in (fits or rows)[:SHOWN])
    if fits:
        raise JobError(f"{wanted!r} may be any of {len(fits)} jobs under {root}: {names}; give more of the name")
    known = f"the latest there: {names}" if names else "there are none yet"
    raise JobError(f"{wanted!r}: no such folder, and no such job under {root}; {known}")
