"""Quiet and air clips to hear in a page: trimmed, equally loud against each other, compressed, within a size."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from listen.signal.clip import Clip

HEARD_S = 4.0
"""Seconds of each clip to hear, from its middle."""
LEAST_S = 0.8
"""Less than this is no help to an ear."""
BUDGET_BYTES = 6_000_000
"""All sounds of a page together, as written into it; a page is to stay under 8 MB."""
PEAK = 0.8
"""Where the louder clip of a pair peaks."""
MOST_GAIN_DB = 60.0


@dataclass(frozen=True, slots=True)
class Pair:
    """One quiet and one air clip as data addresses."""

    quiet: str
    air: str
    gain_db: float
    """The same for both, so that the difference between them stays."""
    seconds: float


def pairs(wanted: Sequence[tuple[Path, Path]]) -> tuple[dict[tuple[Path, Path], Pair], str]:
    """Encode pairs of sound files; shorter ones if they would not fit.

    Returns
    -------
    found, remark
        The pairs that could be read, and what was left out and why (empty where nothing was).
    """
    seconds = HEARD_S
    for _ in range(4):
        found, unread = _encode_all(wanted, seconds)
        size = sum(len(p.quiet) + len(p.air) for p in found.values())
        if size <= BUDGET_BYTES:
            return found, "; ".join(unread)
        seconds *= 0.9 * BUDGET_BYTES / size
        if seconds < LEAST_S:
            break
    return {}, f"{len(wanted)} pairs of clips are too many to carry in one page; hear them in the job"


def _encode_all(wanted: Sequence[tuple[Path, Path]], seconds: float) -> tuple[dict[tuple[Path, Path], Pair], list[str]]:
    from listen.audio.files import read_clip
    from listen.errors import HisswayError

    found: dict[tuple[Path, Path], Pair] = {}
    unread = []
    for quiet, air in wanted:
        try:
            found[quiet, air] = _pair(middle(read_clip(quiet), seconds), middle(read_clip(air), seconds))
        except (HisswayError, OSError) as error:
            unread.append(str(error))
    return found, unread


def _pair(quiet: Clip, air: Clip) -> Pair:
    from listen.audio.encode import ogg_bytes

    peak = max(float(np.abs(c.samples).max()) for c in (quiet, air))
    gain_db = min(MOST_GAIN_DB, float(np.floor(20 * np.log10(PEAK / peak)))) if peak > 0 else 0.0
    ways = [_address(ogg_bytes(c, gain_db=gain_db)) for c in (quiet, air)]
    return Pair(ways[0], ways[1], gain_db, max(quiet.seconds, air.seconds))


def _address(data: bytes) -> str:
    return "data:audio/ogg;base64," + base64.b64encode(data).decode("ascii")


def middle(clip: Clip, seconds: float) -> Clip:
    """The middle of a clip, at most so long."""
    keep = min(len(clip.samples), max(1, int(seconds * clip.rate_hz)))
    first = (len(clip.samples) - keep) // 2
    return replace(clip, samples=clip.samples[first : first + keep])
