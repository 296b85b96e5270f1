"""A bag from another machine, zipped or open, becomes a job here: checked whole, then new, added to ours, or beside."""

from collections.abc import Iterator
from pathlib import Path
from typing import Literal

import msgspec

from listen.durable import sync_folder
from listen.errors import HisswayError, JobError
from listen.jobs.conflicts import conflicts
from listen.jobs.events import ClipKept, JobOpened
from listen.jobs.exchange.bag import bag_faults, untrue
from listen.jobs.exchange.merge import Plan, bring_clips, merged_event, plan, take_over_journal
from listen.jobs.exchange.sign import check_signatures
from listen.jobs.exchange.verify_files import clip_fault
from listen.jobs.exchange.zip_guard import LIMITS, Limits, copy_bag, unzip_bag
from listen.jobs.fold import fold
from listen.jobs.folder import heads
from listen.jobs.folder.chain import JOURNAL, Chain, broken_words, read_journal
from listen.jobs.folder.disk import folder_mode, job_errors, make_folders
from listen.jobs.folder.journal import storable
from listen.jobs.folder.parts import CLIPS
from listen.jobs.folder.store import folder_name, open_job
from listen.jobs.folder.summary import list_jobs
from listen.temporary_folder import temporary_folder

How = Literal["new", "nothing-new", "forwarded", "adopted", "merged", "beside"]


class Unpacked(msgspec.Struct, frozen=True, kw_only=True):
    how: How
    folder: Path
    """The job's folder."""
    events: int
    text: str
    """One sentence or more for whoever unpacked it."""


def unpack(path: Path, root: Path, limits: Limits = LIMITS) -> Unpacked:
    """Take a packed job in under ``root``. Nothing there is overwritten; a refused bag leaves nothing behind.

    Raises JobError: the zip, the bag or the job in it is not whole or not ours, with the reason; or the disk
    refuses."""
    if not path.exists():
        raise JobError(f"{path}: no such file; give the zip that hissway pack wrote, or the folder it was unpacked to")
    with job_errors("unpack a job", root):
        make_folders(root)
        with temporary_folder(".unpack-", root) as scratch:
            bag = unzip_bag(path, scratch, limits) if path.is_file() else copy_bag(path, scratch, limits)
            chain = _checked(path, bag)
            opening = chain.lines[0].event.payload
            assert isinstance(opening, JobOpened)
            return _placed(path, root, bag / "data", chain, opening)


def _checked(path: Path, bag: Path) -> Chain:
    """The journal of a bag that is whole in every respect; else one sentence says in which it is not."""
    for what, why in _faults(bag):
        raise JobError(f"{path}: {what}: {why}; the bag is refused, nothing was unpacked")
    return read_journal(bag / "data")


def _faults(bag: Path) -> Iterator[tuple[str, str]]:
    yield from bag_faults(bag)
    data = bag / "data"
    chain = read_journal(data)
    if chain.broken:
        yield JOURNAL, broken_words(data, chain).partition(": ")[2]
    if chain.torn or chain.open_ended or not chain.lines:
        yield JOURNAL, "the journal does not end in a whole event"
    yield from (("bag-info.txt", untruth) for untruth in untrue(bag, fold(chain.events()), chain))
    kept = {p.clip: p for e in chain.events() if isinstance(p := e.payload, ClipKept)}
    yield from ((f"clips/{id}.flac", why) for id, clip in kept.items() if (why := clip_fault(data / CLIPS, clip)))
    yield from ((f"clips/{f.name}", "no event speaks of it") for f in (data / CLIPS).glob("*") if f.stem not in kept)
    signatures = (check for check in check_signatures(chain) if check.state == "bad")
    yield from ((f"signature of {check.name!a}", check.text) for check in signatures)


def _placed(path: Path, root: Path, data: Path, theirs: Chain, opening: JobOpened) -> Unpacked:
    same = [root / row.folder for row in list_jobs(root) if row.id == opening.job]
    if not same:
        return _new(path, root, data, theirs, opening, "new", "a job new to this machine")
    plans = [(folder, found) for folder in same if (found := _plan(folder, theirs)) is not None]
    for folder, found in plans:
        if found.how != "apart":
            return _together(path, folder, data, theirs, found)
    why = "share no beginning with" if plans else "cannot be added to"
    text = f"its events {why} the job of the same origin here; both are kept, side by side"
    return _new(path, root, data, theirs, opening, "beside", text)


def _plan(folder: Path, theirs: Chain) -> Plan | None:
    try:
        ours = read_journal(folder)
    except HisswayError:
        return None
    return None if ours.broken else plan(ours, theirs)


def _new(path: Path, root: Path, data: Path, theirs: Chain, opening: JobOpened, how: How, text: str) -> Unpacked:
    name = folder_name(opening.title, opening.job, opened=theirs.lines[0].event.time)
    folder, n = root / name, 1
    while folder.exists() or folder.is_symlink():
        n += 1
        folder = root / f"{name}-{n}"
    (data / CLIPS).mkdir(exist_ok=True)
    sync_folder(data / CLIPS)
    sync_folder(data)
    data.chmod(folder_mode(root))
    data.rename(folder)
    sync_folder(root)
    heads.note(folder, opening.job, theirs, bag=(storable(path.name), theirs))
    return Unpacked(how=how, folder=folder, events=len(list(theirs.events())), text=text)


def _together(path: Path, folder: Path, data: Path, theirs: Chain, found: Plan) -> Unpacked:
    """Add what is new to the job here. Clips come first, so that no event ever speaks of a clip that is not there."""
    if found.how in ("same", "behind"):
        return Unpacked(how="nothing-new", folder=folder, events=0, text="the job here holds all of it already")
    with open_job(folder, bench=False) as opened, opened.writing():
        if plan(opened.chain, theirs) != found:
            raise JobError(f"{folder}: was changed while the bag was read; unpack it again")
        before = {e.id for e in opened.chain.events()}
        bring_clips(data / CLIPS, opened.clips, theirs)
        if found.how == "forward":
            how: How = "forwarded"
            opened.append_lines(found.lines)
            text = "its events follow those here"
        elif found.how == "take-over":
            how = "adopted"
            take_over_journal(opened, theirs)
            text = "it holds every event of the job here"
        else:
            how = "merged"
            opened.append(merged_event(found, opened.chain, storable(path.name)), actor="hissway")
            differences = conflicts(opened.chain.events())
            text = " ".join(("both machines had gone on; the events of both are in the job now.", *differences))
        new = sum(e.id not in before for e in theirs.events())
        heads.note(folder, opened.job.id, opened.chain, bag=(storable(path.name), theirs))
    return Unpacked(how=how, folder=folder, events=new, text=text)
