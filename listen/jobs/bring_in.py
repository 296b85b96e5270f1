"""Clips recorded elsewhere (a phone, a field recorder) brought into a round of a job."""

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from listen.audio.files import first_with_sound
from listen.errors import ClipError, HisswayError, RoundError, refusal
from listen.jobs.events import RoundImported
from listen.jobs.folder.journal import storable
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.naming import Recording
from listen.rounds.loose import SOUNDS, read_taking, takes_named
from listen.rounds.model import Take
from listen.trade.points import Kind, walking_order


class _Stretch(NamedTuple):
    """What is taken from a file: all of it, or a piece."""

    take: Take
    start_s: float = 0.0
    seconds: float | None = None


def bring_in(opened: OpenJob, round_id: str, place: Path) -> RoundImported:
    """Take in a folder of clips named as in a loose round, or one such file; what cannot be taken is left out and told.

    Quiet clips after the first air clip of their point belong to the closing walk. Gives the event written.

    Raises RoundError: nothing there, or nothing that could be taken. JobError: the disk refused; clips taken before
    stay."""
    takes, left_out = _listed(place)
    return _bring(opened, round_id, place, [_Stretch(take) for take in takes], left_out, set())


def bring_named(opened: OpenJob, round_id: str, recordings: Sequence[Recording]) -> RoundImported:
    """Take in recordings that were named in a list, in the order given; what cannot be taken is left out and told.

    Raises RoundError: none is named, or none could be taken. JobError: the disk refused; clips taken before stay."""
    named = [
        _Stretch(Take(r.point, r.kind, 1, r.path), r.start_s, r.seconds if r.piece else None)
        for r in recordings
        if r.point
    ]
    if not named:
        raise RoundError("no recording was named; give one a point first")
    aired = {c.kept.point for c in opened.job.round(round_id).live_clips() if c.kept.clip_kind == Kind.AIR}
    return _bring(opened, round_id, recordings[0].path.parent, named, [], aired)


def _bring(
    opened: OpenJob, round_id: str, place: Path, stretches: Sequence[_Stretch], left_out: list[str], aired: set[str]
) -> RoundImported:
    """``aired``: points that have a clip with air already."""
    files: list[str] = []
    for take, start_s, seconds in stretches:
        where = (round_id, take.point, take.kind.value, _walk(take, aired))
        part = opened.new_part(*where, take.on_s, storable(take.together))
        try:
            channel = first_with_sound(take.path) if take.channel is None else take.channel
            opened.keep_file(take.path, part, channel=channel, start_s=start_s, seconds=seconds)
        except ClipError as e:
            left_out.append(storable(str(e)))
            continue
        files.append(storable(take.path.name))
        if take.kind is Kind.AIR:
            aired.add(take.point)
    if not files:
        more = f" (and {len(left_out) - 1} more)" if len(left_out) > 1 else ""
        raise RoundError(
            f"{place}: no clip could be taken; {left_out[0] if left_out else 'no sound files there'}{more}"
        )
    event = RoundImported(round_id=round_id, folder=storable(str(place)), files=tuple(files), left_out=tuple(left_out))
    opened.append(event)
    return event


def _walk(take: Take, aired: set[str]) -> str:
    if take.kind is Kind.AIR:
        return "air"
    if take.kind in (Kind.SOUND, Kind.SWITCHED_SOUND):
        return "reference"
    if take.kind is Kind.SWITCHED:
        return "switched"
    return "closing" if take.point in aired else "quiet"


def _listed(place: Path) -> tuple[list[Take], list[str]]:
    """Takes in order of time at each point, and what was left out."""
    with refusal(RoundError, f"{place}: cannot be read", "give the folder that holds the clips"):
        files = [place] if place.is_file() else sorted(p for p in place.iterdir() if not p.name.startswith("."))
    taking = read_taking((place.parent if place.is_file() else place) / "round.json")
    takes: list[Take] = []
    left_out: list[str] = []
    for file in (f for f in files if f.suffix.lower() in SOUNDS):
        try:
            takes.extend(takes_named(file, taking))
        except HisswayError as e:
            left_out.append(str(e))
    order = [Kind.SHUT, Kind.QUIET, Kind.AIR, Kind.SOUND, Kind.SWITCHED, Kind.SWITCHED_SOUND]
    return sorted(takes, key=lambda t: (walking_order(t.point), t.order, order.index(t.kind))), left_out
