"""The switching of each switched take of a round: found over all channels that ran together, else as commanded."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from listen.audio.files import read_clip
from listen.errors import ClipError
from listen.rounds.model import Take
from listen.signal.bands import BANDWIDTH_HZ, band_weights
from listen.signal.clip import Clip
from listen.signal.spectra import spectra
from listen.signal.switched import frame_times_s
from listen.signal.switched_clip import SwitchedClip
from listen.signal.switched_common import common_level
from listen.signal.switching import Timeline
from listen.signal.switching_found import find, track
from listen.trade.points import Kind


@dataclass(frozen=True, slots=True, eq=False)
class Switching:
    """What is known of one take before its point is measured."""

    timeline: Timeline | None
    common: NDArray[np.float64] | None

    def of(self, take: Take, clip: Clip) -> SwitchedClip:
        """The take's sound beside its switching."""
        return SwitchedClip(take.kind, clip, self.timeline, self.common)


def switchings(takes: Sequence[Take], channel: int) -> dict[Take, Switching]:
    """Timelines of all switched takes; channels of one take share theirs (``ClipError`` from reading)."""
    groups: dict[tuple[str, str], list[Take]] = {}
    for t in takes:
        groups.setdefault((t.kind, t.together or str(t.path)), []).append(t)
    return {t: s for group in groups.values() for t, s in zip(group, _together(group, channel), strict=True)}


def _together(group: Sequence[Take], channel: int) -> list[Switching]:
    return timed([read_clip(t.path, channel=t.heard_in(channel)) for t in group], group[0].on_s)


def pair(files: Sequence[Path], on_s: Sequence[tuple[float, float]] = ()) -> tuple[Clip, Clip]:
    """What is heard against each other at a point: a quiet and an air clip, or the two halves of one switched take.

    Raises ClipError: the file cannot be read, or nobody knows when its air went on and off."""
    if len(files) == 2:
        return read_clip(files[0]), read_clip(files[1])
    (path,) = files
    clip = read_clip(path)
    found = SwitchedClip(Kind.SWITCHED, clip, timed([clip], on_s)[0].timeline).halves()
    if found is None:
        raise ClipError(f"{path.name}: where its air went on and off is not known; it cannot be heard as a pair")
    return found


def timed(clips: Sequence[Clip], on_s: Sequence[tuple[float, float]]) -> list[Switching]:
    """The switching of the channels of one take: as the clearest of them shows it, else as commanded."""
    tracks = [level_track(clip) for clip in clips]
    told = Timeline.commanded(on_s) if on_s else None
    found = [f for z in tracks if (f := find(z, told)) is not None]
    timeline = max(found, key=lambda f: f.clear, default=told)
    if timeline is None:
        return [Switching(None, None) for _ in clips]
    return [Switching(timeline, common_level(tracks, i, timeline)) for i in range(len(clips))]


def level_track(clip: Clip) -> NDArray[np.float64]:
    """Power over the hiss bands, each about its usual size, in steps of ``STEP_S`` [shape=(n,)]."""
    found = spectra(clip)
    weights = band_weights(found)
    live = weights.sum(axis=0) > 0
    return track(
        found.by_frame(lambda p: (p @ weights[:, live]).astype(np.float64)), frame_times_s(found), BANDWIDTH_HZ[live]
    )
