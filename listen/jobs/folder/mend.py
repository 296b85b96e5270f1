"""A journal found other than it was left: the torn end moved aside, the loss told in the journal itself."""

import secrets
from pathlib import Path

from listen.jobs.events import JournalMended
from listen.jobs.folder import disk
from listen.jobs.folder.chain import Chain, own_lines
from listen.jobs.folder.heads import Known
from listen.jobs.folder.journal_file import JOURNAL
from listen.jobs.folder.summary import JobSummary


def mend(folder: Path, chain: Chain, known: JobSummary | None, register: Known | None = None) -> JournalMended | None:
    """Make the file end in a whole line; gives the event that tells what was found, None where all was well.

    Parameters
    ----------
    known
        The summary last written here, a witness of how long the journal was.
    register
        What the register beside the jobs holds of it, another.

    Raises
    ------
    JobError
        The disk refuses.
    """
    path = folder / JOURNAL
    if chain.open_ended:
        with disk.job_errors("finish the last line of the journal", path):
            disk.append(path, b"\n", chain.size - 1)
    witnesses = [(known.events, known.head)] if known and known.events > 0 else []
    witnesses += [(register.last.lines, register.last.head)] if register else []
    held = {line.hash for line in own_lines(chain.lines)}
    gone = [lines for lines, head in witnesses if head not in held]
    missing = max(0, max(gone, default=0) - len(chain.lines))
    rewritten = bool(gone) and not missing
    if not (chain.torn or missing or rewritten):
        return None
    moved_to = f"journal-torn-{secrets.token_hex(4)}.bin" if chain.torn else ""
    if moved_to:
        with disk.job_errors("move the torn end of the journal aside", path):
            disk.create(folder / moved_to, chain.torn)
            disk.cut(path, chain.size)
    return JournalMended(moved_to=moved_to, bytes_moved=len(chain.torn), events_missing=missing, rewritten=rewritten)
