"""Clips recorded elsewhere (a phone, a field recorder) brought into a round of a job."""

from collections.abc import Sequence
from pathlib import Path

from listen.errors import ClipError, HisswayError, RoundError
from listen.jobs.events import RoundImported
from listen.jobs.folder.journal import storable
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.naming import Recording
from listen.rounds.loose import SOUNDS, read_taking, takes_named
from listen.rounds.model import Take
from listen.trade.points import Kind, walking_order


def bring_in(opened: OpenJob, round_id: str, place: Path) -> RoundImported:
    """Take in a folder of clips named as in a loose round, or one such file; what cannot be taken is left out and told.

    Quiet clips after the first air clip of their point belong to the closing walk. Gives the event written.

    Raises
    ------
    RoundError
        Nothing there, or nothing that could be taken.
    JobError
        The disk refused; clips taken before stay.
    """
    takes, left_out = _listed(place)
    files: list[str] = []
    aired: set[str] = set()
    for take in takes:
        walk = _walk(take, aired)
        where = (round_id, take.point, take.kind.value, walk)
        part = opened.new_part(*where, take.on_s, storable(take.together))
        try:
            opened.keep_file(take.path, part, channel=take.channel or 0)
        except HisswayError as e:
            left_out.append(storable(_told(take.path.name, e)))
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


def _told(name: str, error: HisswayError) -> str:
    """Why a file was left out; most sentences name it themselves."""
    return str(error) if str(error).startswith(f"{name}:") else f"{name}: {error}"


def bring_named(opened: OpenJob, round_id: str, recordings: Sequence[Recording]) -> RoundImported:
    """Take in recordings that were named in a list, in the order given; what cannot be taken is left out and told.

    Raises
    ------
    RoundError
        None is named, or none could be taken.
    JobError
        The disk refused; clips taken before stay.
    """
    files: list[str] = []
    left_out: list[str] = []
    aired = {c.kept.point for c in opened.job.round(round_id).live_clips() if c.kept.clip_kind == Kind.AIR}
    for r in (r for r in recordings if r.point):
        walk = _walk(Take(r.point, r.kind, 1, r.path), aired)
        part = opened.new_part(round_id, r.point, r.kind.value, walk)
        seconds = r.seconds if r.piece else None
        try:
            opened.keep_file(r.path, part, start_s=r.start_s, seconds=seconds)
        except ClipError as e:
            left_out.append(storable(str(e)))
            continue
        files.append(storable(r.path.name))
        if r.kind is Kind.AIR:
            aired.add(r.point)
    if not files:
        raise RoundError(left_out[0] if left_out else "no recording was named; give one a point first")
    folder = storable(str(recordings[0].path.parent))
    event = RoundImported(round_id=round_id, folder=folder, files=tuple(files), left_out=tuple(left_out))
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
    try:
        files = [place] if place.is_file() else sorted(p for p in place.iterdir() if not p.name.startswith("."))
    except OSError as e:
        raise RoundError(f"{place}: cannot be read ({e.strerror}); give the folder that holds the clips") from e
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
