"""Recordings made elsewhere (a phone, a field recorder): which there are and what each may be, and bringing them into a
round."""

import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import chain, pairwise, repeat
from pathlib import Path

import numpy as np

from listen.audio.files import first_with_sound, read_clip, sound_info
from listen.audio.when import in_order
from listen.errors import ClipError, HisswayError, RoundError, refusal
from listen.jobs.events import RoundImported
from listen.jobs.folder.journal import storable
from listen.jobs.folder.open_job import OpenJob
from listen.rounds.loose import SOUNDS, read_taking, takes_named
from listen.rounds.model import Take, Taking
from listen.signal.clip import Clip
from listen.trade.points import Kind, walking_order

KINDS = (Kind.QUIET, Kind.AIR, Kind.SOUND, Kind.SHUT)
OFF_S = 0.3
"""Left out beside a mark in a long recording: the hand that moved the microphone."""
LEAST_S = 1.0
"""A piece between two marks shorter than this is none."""
LONG_S = 30.0
"""From this length on a recording may hold several points."""
RANGE_DB = 40.0
"""Of a long recording's course, from the loudest moment down: a microphone carried from point to point stands out."""


@dataclass(frozen=True, slots=True)
class Recording:
    """One file, or a piece of one, and what the tech says it is."""

    path: Path
    seconds: float
    """Its length; 0 where it cannot be read."""
    start_s: float = 0.0
    taken: datetime | None = None
    point: str = ""
    """Listening point; empty: not used."""
    kind: Kind = Kind.QUIET
    piece: bool = False
    """One of several cut from its file."""
    trouble: str = ""
    takes: tuple[Take, ...] = ()
    """What its name says that it holds, by point and kind; empty where it does not say."""


@dataclass(frozen=True, slots=True)
class Found:
    recordings: tuple[Recording, ...]
    order: str
    """Where their times come from, in words."""
    named: bool
    """Whether every file is named by point and kind, so that nobody need be asked."""


def recordings_in(place: Path) -> Found:
    """List the sound files of a folder, or one file, in order of time; what their names say of them is taken over.

    Raises RoundError: it cannot be read, or holds no sound files."""
    alone = place.is_file()
    with refusal(RoundError, f"{place}: cannot be read", "give the folder that holds the clips"):
        files = [place] if alone else sorted(p for p in place.iterdir() if not p.name.startswith("."))
    taking = read_taking((place.parent if alone else place) / "round.json")
    if not (sounds := [p for p in files if p.suffix.lower() in SOUNDS]):
        raise RoundError(f"{place}: no sound files; known are {' '.join(SOUNDS)}")
    order, timed = in_order(sounds)
    found = tuple(_recording(path, taken, taking) for path, taken in timed)
    return Found(found, order, named=all(r.takes for r in found))


def _recording(path: Path, taken: datetime | None, taking: Taking) -> Recording:
    found = Recording(path, 0.0, taken=taken)
    with suppress(RoundError):  # its name says nothing: whoever brings it in does
        found = replace(found, takes=takes_named(path, taking))
    if len(found.takes) == 1 and found.takes[0].channel is None:
        found = replace(found, point=found.takes[0].point, kind=found.takes[0].kind)
    try:
        return replace(found, seconds=sound_info(path).seconds)
    except HisswayError as e:
        return replace(found, trouble=str(e))


def in_walking_order(
    recordings: Sequence[Recording], first: int, points: Sequence[str], due: tuple[str, str] = ("", "")
) -> tuple[Recording, ...]:
    """Name recordings from number ``first`` on as a round is walked: all points quiet, all with air, all quiet again.

    ``due`` is the point and walk to begin with; otherwise the quiet walk is begun.
    """
    walks = [(p, walk, kind) for walk, kind in _WALKS for p in points]
    begin = next((i for i, (p, walk, _) in enumerate(walks) if (p, walk) == due), 0)
    wanted = chain(walks[begin:], repeat(("", "", Kind.QUIET)))
    named = []
    for recording in recordings[first:]:
        p, _, kind = (recording.point, "", recording.kind) if recording.trouble else next(wanted)
        named.append(replace(recording, point=p, kind=kind))
    return (*recordings[:first], *named)


_WALKS = (("quiet", Kind.QUIET), ("air", Kind.AIR), ("closing", Kind.QUIET))


def as_due(found: Found, points: Sequence[str], due: tuple[str, str]) -> tuple[Recording, ...]:
    """One short file on its own is the clip that is due; anything else has to be named (nothing)."""
    alone = found.recordings[0]
    if len(found.recordings) > 1 or alone.trouble or alone.seconds >= LONG_S or not due[0]:
        return ()
    return in_walking_order(found.recordings, 0, points, due)


def cut(recording: Recording, marks_s: Sequence[float]) -> tuple[Recording, ...]:
    """The pieces of a recording between marks, in seconds from its start; the recording itself where there are none."""
    marks = sorted({m for m in marks_s if 0.0 < m < recording.seconds})
    if not marks:
        return (recording,)
    ends = zip([0.0, *(m + OFF_S for m in marks)], [*(m - OFF_S for m in marks), recording.seconds], strict=True)
    return tuple(_piece(recording, a, b) for a, b in ends if b - a >= LEAST_S)


def _piece(recording: Recording, a: float, b: float) -> Recording:
    """Unnamed: what was said of the whole recording is true of one of its pieces at most."""
    taken = recording.taken + timedelta(seconds=a) if recording.taken else None
    return replace(recording, start_s=recording.start_s + a, seconds=b - a, taken=taken, point="", piece=True)


def stretch(recording: Recording, start_s: float = 0.0, most_s: float = math.inf) -> Clip:
    """A stretch of a recording as it would be brought in (``ClipError`` from reading)."""
    seconds = min(most_s, max(recording.seconds - start_s, 0.1))
    channel = first_with_sound(recording.path)
    return read_clip(recording.path, channel=channel, start_s=recording.start_s + start_s, seconds=seconds)


def loudness(recording: Recording, steps: int) -> tuple[float, ...]:
    """How loud a recording is in each of so many steps, 0 to 1 over ``RANGE_DB`` (``ClipError`` from reading)."""
    clip = stretch(recording)
    # Steps without a sample, of a very short clip, count as silent.
    edges = np.linspace(0, len(clip.samples), steps + 1).astype(int)
    power = [float(np.mean(np.square(clip.samples[a:b]))) if b > a else 0.0 for a, b in pairwise(edges)]
    level_db = 10.0 * np.log10(np.array(power) + 1e-20)
    return tuple(map(float, np.clip(1.0 + (level_db - level_db.max()) / RANGE_DB, 0.0, 1.0)))


def bring_in(opened: OpenJob, round_id: str, recordings: Sequence[Recording]) -> RoundImported:
    """Take in recordings; what cannot be taken is left out and told. Gives the event written.

    Where the names of all say what they are they come by those, as they were walked: quiet clips after the first air
    clip of their point belong to the closing walk. Else as they were named in a list, in the order given.

    Raises RoundError: none is named, or none could be taken. JobError: the disk refused; clips taken before stay."""
    if all(r.takes for r in recordings):
        aired = set[str]()
        by_name = sorted((take for r in recordings for take in r.takes), key=_as_walked)
        stretches: list[tuple[Take, float, float | None]] = [(take, 0.0, None) for take in by_name]
    else:
        # Points that have a clip with air already.
        aired = {c.kept.point for c in opened.job.round(round_id).live_clips() if c.kept.clip_kind == Kind.AIR}
        pieces = ((r, r.seconds if r.piece else None) for r in recordings if r.point)
        stretches = [(Take(r.point, r.kind, 1, r.path), r.start_s, seconds) for r, seconds in pieces]
    if not stretches:
        raise RoundError("no recording was named; give one a point first")
    place = recordings[0].path.parent
    files: list[str] = []
    left_out: list[str] = []
    for take, start_s, seconds in stretches:
        walk = WALK_OF.get(take.kind, "closing" if take.point in aired else "quiet")
        part = opened.new_part(round_id, take.point, take.kind.value, walk, take.on_s, storable(take.together))
        try:
            channel = first_with_sound(take.path) if take.channel is None else take.channel
            opened.keep_file(take.path, part, channel=channel, start_s=start_s, seconds=seconds)
        # One file that cannot be measured costs none of the others.
        except ClipError as e:
            left_out.append(storable(str(e)))
            continue
        files.append(storable(take.path.name))
        if take.kind is Kind.AIR:
            aired.add(take.point)
    # The first reason stands for all: with nothing taken in there is nothing to write in the journal.
    if not files:
        more = f" (and {len(left_out) - 1} more)" if len(left_out) > 1 else ""
        raise RoundError(f"{place}: no clip could be taken; {left_out[0]}{more}")
    event = RoundImported(round_id=round_id, folder=storable(str(place)), files=tuple(files), left_out=tuple(left_out))
    opened.append(event)
    return event


WALK_OF = {Kind.AIR: "air", Kind.SWITCHED: "switched", Kind.SOUND: "reference", Kind.SWITCHED_SOUND: "reference"}
"""Walk that a clip belongs to by what the air did; a quiet one's follows from what came before."""


def _as_walked(take: Take) -> tuple[tuple[int, int], int, int]:
    # Of equal numbers as a walk takes them: a quiet clip is one of the closing walk only once its point has air.
    order = [Kind.SHUT, Kind.QUIET, Kind.AIR, Kind.SOUND, Kind.SWITCHED, Kind.SWITCHED_SOUND]
    return walking_order(take.point), take.order, order.index(take.kind)
