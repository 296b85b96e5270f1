"""What a job takes over from another machine's copy: sound files that are missing here, and a longer journal."""

from pathlib import Path

from listen.durable import sync_folder
from listen.errors import JobError
from listen.jobs.events import ClipKept
from listen.jobs.exchange.verify_files import clip_fault
from listen.jobs.folder import disk
from listen.jobs.folder.chain import Chain
from listen.jobs.folder.journal_file import JOURNAL
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.summary import SUMMARY


def bring_clips(source: Path, to: Path, theirs: Chain) -> None:
    """Put clips that are missing here in place, synced; a file that is here is never replaced.

    Raises JobError: a clip here is not the one that was kept."""
    to.mkdir(exist_ok=True)
    for event in theirs.events():
        clip = event.payload
        if not isinstance(clip, ClipKept):
            continue
        here = to / f"{clip.clip}.flac"
        if not here.exists():
            (source / here.name).rename(here)
        elif why := clip_fault(to, clip):
            raise JobError(f"{here}: {why}; nothing was taken in; run hissway verify on this job first")
    sync_folder(to)


def take_over_journal(opened: OpenJob, theirs: Chain) -> None:
    """Take over a journal that holds every line of ours, so that nothing of ours is lost with our file.

    Raises JobError: the disk refuses; the journal is as it was."""
    folder = opened.folder
    with disk.job_errors("take over the journal", folder / JOURNAL):
        (folder / SUMMARY).unlink(missing_ok=True)  # it witnesses the journal that is about to go
        disk.replace(folder / JOURNAL, b"".join(line.raw + b"\n" for line in theirs.lines))
    opened.read_again(theirs)
