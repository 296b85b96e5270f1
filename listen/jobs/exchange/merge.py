"""One job from two machines: how two journals relate, what must be added to ours so that it holds both, and
what is taken over: sound files that are missing here, a longer journal."""

from pathlib import Path
from typing import Literal

import msgspec

from listen.durable import sync_folder
from listen.errors import JobError
from listen.jobs import events as ev
from listen.jobs.events import ClipKept
from listen.jobs.exchange.verify_files import clip_fault
from listen.jobs.folder import disk
from listen.jobs.folder.chain import JOURNAL, MAX_MERGE_DEPTH, Chain, merge_depth, own_lines
from listen.jobs.folder.journal import Line
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.summary import SUMMARY

How = Literal["same", "behind", "forward", "take-over", "merge", "apart"]


class Plan(msgspec.Struct, frozen=True, kw_only=True):
    """What to do with another machine's journal of the same job."""

    how: How
    """``same`` or ``behind``: it holds nothing new. ``forward``: ours is its beginning, append the rest word for word.
    ``take-over``: it holds every line of ours already, in a merge; take it over. ``merge``: append a Merged event.
    ``apart``: the journals share no beginning (or have merged too often); keep both."""
    lines: tuple[Line, ...] = ()
    """Their lines after the fork."""
    fork: str = ""
    """Hash of the last line both share."""


def plan(ours: Chain, theirs: Chain) -> Plan:
    """Compare two journals that hold. Pure; the same two always give the same plan."""
    n = shared_lines(ours, theirs)
    if n == 0:
        return Plan(how="apart")
    if n == len(theirs.lines):
        return Plan(how="same" if n == len(ours.lines) else "behind")
    rest = theirs.lines[n:]
    fork = ours.lines[n - 1].hash
    if n == len(ours.lines):
        return Plan(how="forward", lines=rest, fork=fork)
    # Where each holds the other's lines, both sides must choose the same journal: the one with the lesser hash stays.
    if _holds(theirs, ours) and not (_holds(ours, theirs) and ours.head < theirs.head):
        return Plan(how="take-over", lines=rest, fork=fork)
    if _holds(ours, theirs):
        return Plan(how="behind")
    # Merges in merges are read by recursion; a sender could nest them until the reader fails.
    if max(merge_depth(line) for line in rest) >= MAX_MERGE_DEPTH:
        return Plan(how="apart")
    return Plan(how="merge", lines=rest, fork=fork)


def shared_lines(ours: Chain, theirs: Chain) -> int:
    """How many lines, from the first, are the same in both."""
    n = 0
    for a, b in zip(ours.lines, theirs.lines, strict=False):
        if a.hash != b.hash:
            break
        n += 1
    return n


def merged_event(found: Plan, ours: Chain, source: str) -> ev.Merged:
    """The event that brings the other side's lines in; those that ours holds already are named by their hash."""
    # By hash where ours holds the line already: two who always write at once would double the journal each time.
    held = _hashes(ours.lines)
    lines = tuple(msgspec.Raw(f'"{line.hash}"'.encode() if line.hash in held else line.raw) for line in found.lines)
    return ev.Merged(fork=found.fork, lines=lines, source=source)


def _holds(holder: Chain, other: Chain) -> bool:
    """Whether every line of ``other`` stands in ``holder``, word for word, except merges whose content does."""
    inside = _hashes(holder.lines)
    return all(_inside(line, inside) for line in other.lines)


def _inside(line: Line, inside: set[str]) -> bool:
    if line.hash in inside:
        return True
    return isinstance(line.event.payload, ev.Merged) and all(_inside(inner, inside) for inner in line.inner)


def _hashes(lines: tuple[Line, ...]) -> set[str]:
    return {line.hash for line in own_lines(lines)}


def bring_clips(source: Path, to: Path, theirs: Chain) -> None:
    """Put clips that are missing here in place, synced; a file that is here is never replaced.

    Raises JobError: a clip here is not the one that was kept."""
    to.mkdir(exist_ok=True)
    for event in theirs.events():
        clip = event.payload
        if not isinstance(clip, ClipKept):
            continue
        here = to / f"{clip.clip}.flac"
        # Moved, not copied: both lie on one disk, and a copy could be cut short.
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
