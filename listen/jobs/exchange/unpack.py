"""A bag from another machine, zipped or open, becomes a job here: checked whole, then new, added to ours, or beside;
how two journals of one job relate, and what is taken over."""

from contextlib import suppress
from itertools import takewhile
from pathlib import Path
from typing import Literal

import msgspec

from listen.durable import job_errors, make_folders, sync_folder
from listen.errors import HisswayError, JobError
from listen.jobs import events as ev
from listen.jobs.event_words import conflicts
from listen.jobs.exchange.verification import Against
from listen.jobs.exchange.verify import verify_bag
from listen.jobs.exchange.zip_guard import LIMITS, Limits, copy_bag, unzip_bag
from listen.jobs.folder import witnesses
from listen.jobs.folder.chain import MAX_MERGE_DEPTH, Chain, merge_depth, read_journal
from listen.jobs.folder.journal import Line, storable
from listen.jobs.folder.parts import CLIPS, clip_fault
from listen.jobs.folder.store import folder_mode, folder_name, free_place, list_jobs, open_job
from listen.temporary_folder import temporary_folder

How = Literal["new", "nothing-new", "forwarded", "adopted", "merged", "beside"]
WORDS: dict[How, str] = {
    "new": "a job new to this machine",
    "nothing-new": "the job here holds all of it already",
    "forwarded": "its events follow those here",
    "adopted": "it holds every event of the job here",
    "merged": "both machines had gone on; the events of both are in the job now.",
    "beside": "its events {why} the job of the same origin here; both are kept, side by side",
}


class Plan(msgspec.Struct, frozen=True, kw_only=True):
    how: How
    """``forwarded``: ours is its beginning. ``adopted``: it holds every line of ours, in a merge. Both are taken over.
    ``merged``: a Merged event is appended. ``beside``: the journals share no beginning (or have merged too often)."""
    lines: tuple[Line, ...] = ()
    fork: str = ""


def plan(ours: Chain, theirs: Chain) -> Plan:
    """Compare two journals that hold. Pure; the same two always give the same plan."""
    pairs = zip(ours.lines, theirs.lines, strict=False)
    n = sum(1 for _ in takewhile(lambda pair: pair[0].hash == pair[1].hash, pairs))
    if n == 0:
        return Plan(how="beside")
    rest, fork = theirs.lines[n:], ours.lines[n - 1].hash
    if not rest:
        return Plan(how="nothing-new")
    if n == len(ours.lines):
        return Plan(how="forwarded")
    # Where each holds the other's lines, both sides must choose the same journal: the one with the lesser hash stays.
    if theirs.holds(ours) and not (ours.holds(theirs) and ours.head < theirs.head):
        return Plan(how="adopted")
    if ours.holds(theirs):
        return Plan(how="nothing-new")
    # Merges in merges are read by recursion; a sender could nest them until the reader fails.
    too_deep = max(map(merge_depth, rest)) >= MAX_MERGE_DEPTH
    return Plan(how="beside") if too_deep else Plan(how="merged", lines=rest, fork=fork)


def merged_event(found: Plan, ours: Chain, source: str) -> ev.Merged:
    """The event that brings the other side's lines in; those that ours holds already are named by their hash."""
    # By hash where ours holds the line already: two who always write at once would double the journal each time.
    held = ours.hashes()
    lines = tuple(msgspec.Raw(f'"{line.hash}"'.encode() if line.hash in held else line.raw) for line in found.lines)
    return ev.Merged(fork=found.fork, lines=lines, source=source)


def bring_clips(source: Path, to: Path, theirs: Chain) -> None:
    """Put clips that are missing here in place, synced; a file that is here is never replaced.

    Raises JobError: a clip here is not the one that was kept."""
    to.mkdir(exist_ok=True)
    for clip in theirs.clips().values():
        here = to / f"{clip.clip}.flac"
        # Moved, not copied: both lie on one disk, and a copy could be cut short.
        if not here.exists():
            (source / here.name).rename(here)
        elif why := clip_fault(to.parent, clip):
            raise JobError(f"{here}: {why}; nothing was taken in; run hissway verify on this job first")
    sync_folder(to)


class Unpacked(msgspec.Struct, frozen=True, kw_only=True):
    how: How
    folder: Path
    events: int
    text: str


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
            assert isinstance(opening, ev.JobOpened)
            return _placed(path, root, bag / "data", chain, opening)


NO_BAG = ("bag", "journal", "clip", "signature")
"""Mismatches for which a bag is refused; what else a job claims, verify tells of it here as it would there."""


def _checked(path: Path, bag: Path) -> Chain:
    """The journal of a bag that is whole in every respect; else one sentence says in which it is not."""
    for fault in verify_bag(bag, Against(judge=None)).mismatches:
        if fault.what in NO_BAG:
            raise JobError(f"{path}: {fault.name}: {fault.text}; the bag is refused, nothing was unpacked")
    return read_journal(bag / "data")


def _placed(path: Path, root: Path, data: Path, theirs: Chain, opening: ev.JobOpened) -> Unpacked:
    same = [root / row.folder for row in list_jobs(root) if row.id == opening.job]
    plans = []
    for folder in same:
        with suppress(HisswayError):
            if not (ours := read_journal(folder)).broken:
                plans.append((folder, plan(ours, theirs)))
    for folder, found in plans:
        if found.how != "beside":
            return _together(path, folder, data, theirs, found)
    folder = free_place(root, folder_name(opening.title, opening.job, opened=theirs.lines[0].event.time))
    (data / CLIPS).mkdir(exist_ok=True)
    sync_folder(data / CLIPS)
    sync_folder(data)
    data.chmod(folder_mode(root))
    # Last of all: whatever failed before this has left nothing among the jobs.
    data.rename(folder)
    sync_folder(root)
    witnesses.note(folder, opening.job, theirs)
    how: How = "beside" if same else "new"
    text = WORDS[how].format(why="share no beginning with" if plans else "cannot be added to")
    return Unpacked(how=how, folder=folder, events=len(list(theirs.events())), text=text)


def _together(path: Path, folder: Path, data: Path, theirs: Chain, found: Plan) -> Unpacked:
    """Add what is new to the job here. Clips come first, so that no event ever speaks of a clip that is not there."""
    text = WORDS[found.how]
    if found.how == "nothing-new":
        return Unpacked(how=found.how, folder=folder, events=0, text=text)
    with open_job(folder, bench=False) as opened, opened.writing():
        # The first look under the turn: until now another program may have written here.
        if plan(opened.chain, theirs) != found:
            raise JobError(f"{folder}: was changed while the bag was read; unpack it again")
        before = {e.id for e in opened.chain.events()}
        bring_clips(data / CLIPS, opened.clips, theirs)
        if found.how != "merged":
            opened.take_over(theirs)
        else:
            opened.append(merged_event(found, opened.chain, storable(path.name)), actor="hissway")
            # What both sides decided apart is told at once: nobody else will look for it.
            text = " ".join((text, *conflicts(opened.chain.events())))
    new = sum(e.id not in before for e in theirs.events())
    return Unpacked(how=found.how, folder=folder, events=new, text=text)
