"""The journal on disk: what its file is called, reading it as far as it holds, and the sentence where it does not."""

from pathlib import Path

from listen.durable import read_file
from listen.errors import JobError
from listen.jobs.folder.chain import Chain, read_chain
from listen.jobs.folder.disk import job_errors

JOURNAL = "journal.jsonl"
MAX_JOURNAL_BYTES = 256_000_000
"""A journal beyond this is no journal of ours (a busy job has well under 1 MB)."""


def read_journal(folder: Path) -> Chain:
    """Read a job's journal as far as it holds. Raises JobError: no journal there, or it cannot be read."""
    path = folder / JOURNAL
    if not folder.is_dir():
        raise JobError(f"{folder}: no such job folder; `hissway` lists the jobs there are")
    if not path.is_file():
        raise JobError(f"{folder}: holds no {JOURNAL}; this is not a job folder")
    with job_errors("read the journal", path):
        return read_chain(read_file(path, MAX_JOURNAL_BYTES))


def broken_words(folder: Path, chain: Chain) -> str:
    """One sentence about a broken chain."""
    n = len(chain.lines) + 1
    return (
        f"{folder / JOURNAL}: does not hold from event {n} on ({chain.rest} line(s) affected): {chain.broken}; "
        f"the {n - 1} event(s) before can be read, nothing more can be written; "
        "restore the file from a copy or bag, or bring back the rest with hissway salvage"
    )
