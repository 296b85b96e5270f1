"""What a person at this machine prefers: times, input, tones. A small file; losing it costs nothing."""

from pathlib import Path
from typing import Annotated

import msgspec

from listen.durable import read_file

Seconds = Annotated[float, msgspec.Meta(ge=0.0, le=60.0)]


class Preferences(msgspec.Struct, frozen=True, kw_only=True):
    """Settings of the Round screen and the input chosen in the microphone check."""

    before_s: Seconds = 2.0
    """Between the key and the clip: time to get clear of the microphone."""
    clip_s: Annotated[float, msgspec.Meta(ge=1.0, le=60.0)] = 5.0
    """Length of a clip."""
    move_s: Seconds = 8.0
    """Where a walk is led: time to get from one point to the next; 0: every clip waits for its key, but hands-free."""
    air_s: Seconds = 8.0
    """Point by point: time to turn the air on or off between two clips of a point; 0: every clip waits for its key."""
    tones: bool = True
    """Where a walk or a point is led: tones before and after each clip."""
    input_name: str | None = None
    """Input to use; None is the system's default."""
    channels: dict[str, tuple[str, ...]] = {}
    """By input: at which point the microphone of each channel lies; empty where it is not used."""
    prints: dict[str, tuple[tuple[float, ...], ...]] = {}
    """By input: what each channel's place sounded like at the last take, see :mod:`listen.signal.channels`."""
    daylight: bool = False
    """Light theme."""


def load(path: Path) -> Preferences:
    """What is on disk, or the defaults where it is missing or not readable as such."""
    try:
        return msgspec.json.decode(read_file(path, 100_000), type=Preferences)
    except (OSError, msgspec.MsgspecError, UnicodeDecodeError):
        return Preferences()


def save(path: Path, preferences: Preferences) -> bool:
    """Keep them; False where the disk refuses: then they are asked again."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(msgspec.json.format(msgspec.json.encode(preferences)))
    except OSError:
        return False
    return True
