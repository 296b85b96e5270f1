"""Pairs of clips to hear in a page: air off, then air on, in one sound; alike loud over all pairs, within a size."""

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple

import numpy as np

from listen.audio.player import mp3_bytes
from listen.errors import ClipError, HisswayError
from listen.rounds.switching import pair
from listen.signal.clip import Clip

HEARD_S = 4.0
"""Seconds of each clip to hear, from its middle."""
LEAST_S = 0.8
"""Less than this is no help to an ear."""
GAP_S = 0.3
"""Silence between the two, so that the ear does not take the join for a knock."""
BUDGET_BYTES = 1_200_000
"""All sounds of a page together, as written into it; a page is to stay under 2 MB."""
QUIET_DBFS = -30.0
"""Every pair is played so that its quiet clip has this level (mean square): no pair is louder than another for having
been recorded hotter. Shop noise then leaves 20 dB and more for the hiss."""
PEAK = 0.9
"""The louder clip of a pair peaks at most here."""
MOST_GAIN_DB = 60.0


class Files(NamedTuple):
    """What is heard at a point."""

    paths: tuple[Path, ...]
    """Quiet and air clip, or one switched take."""
    on_s: tuple[tuple[float, float], ...] = ()
    """When its air was commanded on and off."""


@dataclass(frozen=True, slots=True)
class Pair:
    """One quiet and one air clip, played one after the other, as a data address."""

    address: str
    gain_db: float
    """The same for both, so that the difference between them stays."""
    quiet_s: float
    air_s: float


def pairs(wanted: Sequence[Files]) -> tuple[dict[Files, Pair], str]:
    """Encode pairs of sound files, the first of them at full length, the others shorter if they would not fit.

    Gives those that could be read, and what was left out and why (empty where nothing was).
    """
    seconds = HEARD_S
    while seconds >= LEAST_S:
        found, unread = _encode_all(wanted, seconds)
        if sum(len(p.address) for p in found.values()) <= BUDGET_BYTES:
            return found, "; ".join(unread)
        seconds = _shorter(found, wanted[0], seconds)
    found, unread = _encode_all(wanted[:1], HEARD_S)
    left = f"{len(wanted) - 1} pairs of clips are too many to carry in one page; hear them in the job"
    return found, "; ".join([*unread, left])


def _shorter(found: Mapping[Files, Pair], first: Files, seconds: float) -> float:
    """Seconds at which all would fit, with a little to spare, by what each took so far; the first stays whole."""

    def size(files: Files, pair: Pair) -> float:
        kept_s = GAP_S + sum(min(s, seconds) for s in (pair.quiet_s, pair.air_s))
        return len(pair.address) * (1.0 if files == first else kept_s / (GAP_S + pair.quiet_s + pair.air_s))

    while seconds >= LEAST_S:
        seconds *= 0.98
        if sum(size(*one) for one in found.items()) <= 0.97 * BUDGET_BYTES:
            break
    return seconds


def _encode_all(wanted: Sequence[Files], seconds: float) -> tuple[dict[Files, Pair], list[str]]:
    found: dict[Files, Pair] = {}
    unread = []
    for n, files in enumerate(wanted):
        keep, folder = seconds if n else HEARD_S, files.paths[0].parent
        try:
            quiet, air = pair(*files)
            found[files] = _pair(middle(quiet, keep), middle(air, keep))
        except (HisswayError, OSError) as error:
            unread.append(str(error).replace(f"{folder}/", "").replace(f"{folder}\\", ""))
    return found, unread


def _pair(quiet: Clip, air: Clip) -> Pair:
    if quiet.rate_hz != air.rate_hz:
        raise ClipError(
            f"{quiet.name} and {air.name}: recorded at {quiet.rate_hz} and {air.rate_hz} Hz, not for one ear"
        )
    gain_db = _gain_db(quiet, air)
    gap = np.zeros(round(GAP_S * quiet.rate_hz), np.float32)
    both = np.concatenate([quiet.samples, gap, air.samples])
    data = mp3_bytes(Clip.of(both, quiet.rate_hz), gain_db=gain_db)
    address = "data:audio/mpeg;base64," + base64.b64encode(data).decode("ascii")
    return Pair(address, gain_db, quiet.seconds, air.seconds)


def _gain_db(quiet: Clip, air: Clip) -> float:
    peak = max(float(np.abs(c.samples).max()) for c in (quiet, air))
    power = float(np.mean(np.square(quiet.samples, dtype=np.float64)))
    wanted = QUIET_DBFS - 10 * np.log10(power) if power > 0 else MOST_GAIN_DB
    return float(np.floor(min(wanted, MOST_GAIN_DB, 20 * np.log10(PEAK / peak)))) if peak else 0.0


def middle(clip: Clip, seconds: float) -> Clip:
    """The middle of a clip, at most so long."""
    keep = min(len(clip.samples), max(1, int(seconds * clip.rate_hz)))
    first = (len(clip.samples) - keep) // 2
    return replace(clip, samples=clip.samples[first : first + keep])
