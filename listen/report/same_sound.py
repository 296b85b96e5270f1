"""Whether two encoded sounds may be one sound that two encoders wrote."""

import base64
from pathlib import Path

import numpy as np

from listen.audio.files import read_clip
from listen.errors import ClipError
from listen.temporary_folder import temporary_folder

MOST_DIFFERENT_DB = 0.0
"""Power of the difference over that of the fainter of the two. Measured with white noise: MP3 of one noise by other
qualities and rates differs by -1.5 to -24 dB, of another noise by +2.5 dB."""
SHIFT_S = 0.06
"""Encoders put a frame or two of silence at the beginning and the end (MPEG-1 layer III: 1,152 samples a frame)."""


def same_sound(a: str, b: str) -> bool:
    """Whether two MP3s, as base64, may be of the same sound; one that cannot be read is none."""
    try:
        with temporary_folder("hissway-sounds-") as scratch:
            one, other = (_samples(scratch / f"{n}.mp3", text) for n, text in enumerate((a, b)))
    except (ClipError, ValueError, OSError):
        return False
    if abs(len(one) - len(other)) > SHIFT_S * 96_000 or not len(one):
        return False
    n = min(len(one), len(other))
    difference = float(np.mean((one[:n] - other[:n]) ** 2))
    # The fainter one: against silence, or a sound turned down, the difference is as strong as the louder one alone.
    fainter = min(float(np.mean(sound[:n] ** 2)) for sound in (one, other))
    return difference <= fainter * 10 ** (MOST_DIFFERENT_DB / 10)


def _samples(file: Path, text: str) -> np.ndarray:
    file.write_bytes(base64.b64decode(text, validate=True))
    return read_clip(file).samples.astype(np.float64)
