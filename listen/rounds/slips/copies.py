"""Finds one recording that was stored under two labels."""

from collections.abc import Sequence

import numpy as np

from listen.rounds.slips.slip import Blunder, RoundClip
from listen.signal.clip_print import likeness
from listen.signal.flags import Flag
from listen.voice.figures import share

COPY_LIKENESS = 0.3
"""Copies (quieter, offset, cut at one end, in 10 bits, through MP3, Vorbis and Opus) are .88 alike and more, the most
alike of 1,770 pairs of recordings .06."""


def same_sound(clips: Sequence[RoundClip]) -> Blunder | None:
    """One recording under two labels, louder or softer, coded, or cut at one end; cut at both it is not known."""
    alike = likeness([c.mark for c in clips])
    if not alike.size or (found := float(alike.max())) < COPY_LIKENESS:
        return None
    one, other = (clips[int(i)] for i in np.unravel_index(int(alike.argmax()), alike.shape))
    # In the order recorded, whichever way the likeness was worked out.
    first, second = sorted((one, other), key=lambda c: clips.index(c))
    where = f"{first.words} and {second.words}" if first.words != second.words else f"two clips for {first.words}"
    text = (
        f"The same sound is in {where} ({share(found)} alike, two recordings are below "
        f"{share(COPY_LIKENESS)}): one was copied or stored twice; record both again."
    )
    flag = Flag(flag="same-sound", value=found, limit=COPY_LIKENESS, text=text, reject=True)
    return Blunder.of(flag, first, second)
