"""A job written as a zip that another machine can check and open."""

import os
import shutil
import zipfile
from pathlib import Path

from listen.durable import job_errors, sync_folder
from listen.errors import JobError, JournalBroken
from listen.jobs.exchange.bag import make_bag
from listen.jobs.exchange.zip_guard import LIMITS, unzip_bag
from listen.jobs.fold import fold
from listen.jobs.folder.chain import JOURNAL, broken_words, read_journal
from listen.jobs.folder.parts import CLIPS, clip_fault
from listen.jobs.folder.store import folder_name
from listen.temporary_folder import temporary_folder


def pack(job_folder: Path, to: Path) -> int:
    """Pack a job; it may be open for writing meanwhile, what is on disk now goes in. Gives the zip's size in bytes.

    Raises JobError: ``to`` exists, a clip is missing or changed, the job is larger than a bag may be, or the disk
    refuses. JournalBroken: the journal does not hold; it is not sent on as if it did."""
    chain = read_journal(job_folder)
    if chain.broken:
        raise JournalBroken(broken_words(job_folder, chain))
    if not chain.lines:
        raise JournalBroken(f"{job_folder / JOURNAL}: holds no whole event; there is nothing to pack, restore it first")
    if not (place := to.absolute().parent).is_dir():
        raise JobError(f"{place}: no such folder; make it first, or choose another with -o")
    if to.exists():
        raise JobError(f"{to}: is there already and is not replaced; choose another name with -o")
    for kept in chain.clips().values():
        if why := clip_fault(job_folder, kept):
            file = f"{job_folder / CLIPS}/{kept.clip}.flac"
            raise JobError(f"{file}: {why}; the job is not packed; hissway verify tells more")
    with job_errors("write", to), temporary_folder(".hissway-pack-", to.absolute().parent) as scratch:
        job = fold(chain.events())
        bag = scratch / folder_name(job.title, job.id, opened=job.opened)
        bag.mkdir()
        (bag / JOURNAL).write_bytes(chain.data)
        for clip in chain.clips():
            (bag / CLIPS).mkdir(exist_ok=True)  # a bag lists files only: an empty folder would be lost on the way
            shutil.copyfile(job_folder / CLIPS / f"{clip}.flac", bag / CLIPS / f"{clip}.flac")
        make_bag(bag, job, chain)
        whole = scratch / "whole.zip"
        _zip(bag, whole)
        check = scratch / "check"
        check.mkdir()
        unzip_bag(whole, check)  # what we would refuse from a stranger we do not send
        _name(whole, to)
        return to.stat().st_size


def _name(whole: Path, to: Path) -> None:
    """Give the finished zip its name without replacing what may have come there meanwhile."""
    try:
        # A link fails where the name is taken, a rename would replace what is there.
        os.link(whole, to)
    except FileExistsError:
        raise
    except OSError:  # a stick formatted without hard links
        whole.rename(to)
    sync_folder(to.absolute().parent)


def _zip(bag: Path, to: Path) -> None:
    """Write the bag's files under its name; sound as it is, text deflated, no names but the bag's own."""
    files = sorted(p for p in bag.rglob("*") if p.is_file())
    total = sum(f.stat().st_size for f in files)
    if total > LIMITS.total_bytes:
        raise JobError(f"{bag.name}: {total} bytes; a bag holds at most {LIMITS.total_bytes}; split the job")
    with to.open("wb") as file:
        with zipfile.ZipFile(file, "w", allowZip64=False) as archive:
            for f in files:
                info = zipfile.ZipInfo(f"{bag.name}/{f.relative_to(bag).as_posix()}", (1980, 1, 1, 0, 0, 0))
                # A plain file that all may read, whatever its mode was here.
                info.external_attr = 0o100644 << 16
                # FLAC is packed already.
                info.compress_type = zipfile.ZIP_STORED if f.suffix == ".flac" else zipfile.ZIP_DEFLATED
                with f.open("rb") as source, archive.open(info, "w") as target:
                    shutil.copyfileobj(source, target, 1 << 20)
        file.flush()
        os.fsync(file.fileno())
