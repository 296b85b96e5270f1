"""Sound files out: 24 bits, whole under a passing name, on the disk, then named."""

from __future__ import annotations

import json
from pathlib import Path
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from listen.durable import whole_file
from listen.errors import ClipError
from listen.signal.clip import Clip

FORMS = {".flac": "FLAC", ".wav": "WAV"}
"""Forms written, by file suffix; both with 24 bits."""
_FULL_SCALE = 2**23


def write_flac(path: Path, clip: Clip) -> None:
    """Write ``clip`` as 24-bit FLAC; see :func:`write_clip`."""
    with whole_file(path) as file:
        _encode(file, clip, "FLAC")


def write_clip(path: Path, clip: Clip) -> None:
    """Write ``clip`` as 24-bit FLAC or WAV, as the suffix says, replacing what has that name.

    The name appears only once the whole file is on the disk (:func:`listen.durable.whole_file`).
    Samples of up to 24 bits come back exactly; values beyond full scale are held at it.

    Raises
    ------
    ClipError
        Unknown suffix, or a rate FLAC cannot hold.
    OSError
        The disk is full, or the folder cannot be written.
    """
    form = FORMS.get(path.suffix.lower())
    if form is None:
        raise ClipError(f"{path.name}: clips are written as .flac or .wav")
    with whole_file(path) as file:
        _encode(file, clip, form)


def _encode(file: BinaryIO, clip: Clip, form: str) -> None:
    import soundfile

    try:
        with soundfile.SoundFile(file, "w", clip.rate_hz, 1, "PCM_24", format=form) as out:
            out.comment = _comment(clip)
            out.write(_as_int32(clip.samples))
    except soundfile.LibsndfileError as error:
        raise ClipError(f"{clip.name or 'clip'}: cannot be written as {form} ({error})") from error


def _as_int32(samples: NDArray[np.float32]) -> NDArray[np.int32]:
    """Rounded to 24 bits and left-justified, so that the library has nothing to scale [shape=(n,)]."""
    steps = np.rint(samples.astype(np.float64) * _FULL_SCALE)
    return np.clip(steps, -_FULL_SCALE, _FULL_SCALE - 1).astype(np.int32) << 8


def _comment(clip: Clip) -> str:
    taken = clip.taken.isoformat() if clip.taken else None
    return json.dumps({"taken": taken, "device": clip.device, "overflows": clip.overflows})
