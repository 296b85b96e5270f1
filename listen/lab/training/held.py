"""One round of known truth in memory: its clips, its facts, and what is told of it only after the answer."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import msgspec
import numpy as np

from listen.lab.simulator.render import TakeKey, render, write_clips
from listen.lab.simulator.scene import RoundSpec
from listen.rounds.loose import read_folder
from listen.rounds.model import Facts, Round
from listen.signal.clip import Clip
from listen.signal.switched_clip import SwitchedClip
from listen.signal.switching import Timeline
from listen.trade.points import Kind


@dataclass(frozen=True, slots=True, eq=False)
class Held:
    """A round that lies in no file while it is being called."""

    id: str
    """Tells it from others; nothing follows from it."""
    clips: Mapping[TakeKey, Clip]
    facts: Facts
    truth: tuple[str, ...]
    focus: tuple[str, ...] = ()
    gave_away: str = ""
    spec: RoundSpec | None = None
    """What it was rendered from, where it is simulated."""
    trains: str = ""
    """Staircase that its answer moves, where it was made for one."""
    level_db: float | None = None
    """How plain it was made, on that staircase."""
    seed: int | None = None
    """Of a fresh round; drawn again from it, the same comes out."""

    @property
    def points(self) -> tuple[str, ...]:
        """Where it was listened, in walking order."""
        return tuple(dict.fromkeys(p for p, _, _ in self.clips))

    def pair(self, point: str) -> tuple[Clip, Clip]:
        """First quiet and first air clip of a point."""
        quiet, air = (next(c for (p, k, _), c in self.clips.items() if p == point and k == kind) for kind in PAIR)
        return quiet, air

    def without_hiss(self, point: str) -> Clip | None:
        """The air clip as it would have been without any air: the same moment of the same shop. None: nobody knows."""
        if self.spec is None:
            return None
        # The same seed draws the same shop: each sound has a stream of its own, and only the air's is gone.
        mute = tuple(msgspec.structs.replace(p, air=(), bubbles=None) for p in self.spec.points)
        calm = met(msgspec.structs.replace(self.spec, points=mute))
        return next(c for (p, k, _), c in calm.items() if p == point and k == Kind.AIR)

    def write(self, folder: Path) -> Round:
        """As a loose round in ``folder`` (made if missing), clips bare of device and time; gives it as read back."""
        write_clips(folder, {key: bare(clip) for key, clip in self.clips.items()}, self.facts)
        return read_folder(folder, name=self.id)


PAIR = (Kind.QUIET, Kind.AIR)


def bare(clip: Clip) -> Clip:
    """Without device, time and name: they would tell which round it is to whoever looks into the file."""
    return replace(clip, taken=None, device="", gain_db=None, overflows=0, name="")


def met(spec: RoundSpec) -> dict[TakeKey, Clip]:
    """A round's clips as they are heard against each other: a switched take is the two that its halves make."""
    hands = {(p.point, t.kind, t.order): t.switched for p in spec.points for t in p.takes}
    clips: dict[TakeKey, Clip] = {}
    for key, clip in render(spec).items():
        if (how := hands[key]) is None:
            clips[key] = clip
            continue
        opened, shut = np.array(how.on_s).T
        halves = SwitchedClip(key[1], clip, Timeline(opened, shut, True, how.decay_s)).halves()
        assert halves is not None, "a drawn hand opens and shuts the valve"
        clips |= {(key[0], kind, key[2]): half for kind, half in zip(PAIR, halves, strict=True)}
    return clips
