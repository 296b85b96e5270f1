"""A clip as a small sound file in memory, for pages that carry their sounds with them."""

from __future__ import annotations

import io

import numpy as np

from listen.errors import ClipError
from listen.signal.clip import Clip

VORBIS_QUALITY = 0.3
"""libsndfile's compression quality (0 small to 1 large): measured, about 10 kB a second of shop noise at 48 kHz."""
BLOCK = 8_192
"""Frames handed over at a time; libsndfile's Vorbis writer keeps long blocks on the stack."""


def ogg_bytes(clip: Clip, *, gain_db: float = 0.0) -> bytes:
    """The clip as Ogg Vorbis, one channel, at its own rate; ``gain_db`` is applied first and held at full scale.

    Vorbis may change what the ear cannot hear; it is for listening, never for measuring.

    Raises
    ------
    ClipError
        The rate or the clip cannot be held by the form.
    """
    import soundfile

    out = io.BytesIO()
    samples = np.clip(clip.samples * np.float32(10 ** (gain_db / 20)), -1.0, 1.0)
    try:
        with soundfile.SoundFile(
            out, "w", clip.rate_hz, 1, "VORBIS", format="OGG", compression_level=1.0 - VORBIS_QUALITY
        ) as file:
            for first in range(0, len(samples), BLOCK):
                file.write(samples[first : first + BLOCK])
    except (soundfile.LibsndfileError, TypeError) as error:
        raise ClipError(f"{clip.name or 'clip'}: cannot be written as Ogg Vorbis ({error})") from error
    return out.getvalue()
