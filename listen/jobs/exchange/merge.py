"""One job from two machines: how two journals relate, and what must be added to ours so that it holds both."""

from typing import Literal

import msgspec

from listen.jobs import events as ev
from listen.jobs.folder.chain import MAX_MERGE_DEPTH, Chain, merge_depth, own_lines
from listen.jobs.folder.journal import Line

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
    if _holds(theirs, ours) and not (_holds(ours, theirs) and ours.head < theirs.head):
        return Plan(how="take-over", lines=rest, fork=fork)
    if _holds(ours, theirs):
        return Plan(how="behind")
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
