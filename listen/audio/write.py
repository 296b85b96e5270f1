"""Sound to the disk: block by block while it is recorded, in a part that any crash leaves readable; then as a sound
file of 24 bits, whole under a passing name, read back, on the disk, then named."""

import dataclasses
import errno
import io
import json
import os
import time
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import BinaryIO, Self

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from listen.audio.files import read_part
from listen.audio.headers import PartHeader
from listen.durable import new_file, remove_if_possible, sync_folder, whole_file
from listen.errors import ClipError
from listen.signal.clip import Clip

SYNC_S = 0.5
"""Longest sound not yet on the disk; with the device's latency a crash loses less than the last second."""
FORMS = {".flac": "FLAC", ".wav": "WAV"}
"""Forms written, by file suffix; both with 24 bits."""
_FULL_SCALE = 2**23
_BLOCK_SAMPLES = 1 << 16


class PartWriter:
    """Writes blocks to a new part and puts them on the disk every ``SYNC_S``. A context manager.

    ``OSError`` wherever the disk refuses.
    """

    def __init__(self, path: Path, header: PartHeader) -> None:
        self.header = header
        self.frames = 0
        # Unbuffered: what was written lies with the system at once, and outlives this process.
        self._file = os.fdopen(new_file(path), "wb", buffering=0)
        try:
            self._all(header.encode())
            os.fsync(self._file.fileno())
            # The name too, before the first sample: a crash in the first second must leave a file that is found.
            sync_folder(path.parent)
        except OSError:
            self._file.close()
            remove_if_possible(path)  # no sound was in it
            raise
        self._synced = time.monotonic()

    def write(self, block: NDArray[np.float32], overflows: int) -> None:
        """Append ``block`` [shape=(n,)]; ``overflows`` counts those seen so far."""
        self._all(np.ascontiguousarray(block, dtype=PartHeader.SAMPLE).tobytes())
        self.frames += len(block)
        if overflows != self.header.overflows:
            self._amend(replace(self.header, overflows=overflows))
        # By the clock, not by the sound: what waited behind a slow disk is written before it is asked again.
        if time.monotonic() - self._synced >= SYNC_S:
            os.fsync(self._file.fileno())
            self._synced = time.monotonic()

    def _all(self, data: bytes) -> None:
        # A raw file may take less than it is given.
        while data:
            data = data[self._file.write(data) :]

    def _amend(self, header: PartHeader) -> None:
        self.header = header
        self._file.seek(0)
        self._all(header.encode())
        self._file.seek(0, os.SEEK_END)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        with self._file:
            self._amend(replace(self.header, frames=self.frames))
            os.fsync(self._file.fileno())


def write_part(path: Path, clip: Clip) -> None:
    """Put a whole clip into a new part (``OSError`` where the disk refuses; nothing is left then)."""
    with_whom = PartHeader(clip.rate_hz, clip.device, clip.taken, clip.overflows, coded=clip.coded)
    try:
        with PartWriter(path, with_whom) as writer:
            writer.write(clip.samples, clip.overflows)
    except OSError:
        remove_if_possible(path)
        raise


def finish(part: Path, to: Path) -> Clip:
    """Turn a part into a FLAC or WAV file and return its clip; the part goes once the file is on the disk, if it can.

    Raises ClipError: as :func:`listen.audio.files.read_part` and :func:`write_clip`; the part stays. OSError: the
    disk is full or the folder cannot be written; the part stays."""
    clip = dataclasses.replace(read_part(part), name=to.name)
    write_clip(to, clip)
    # The folder too: a part that comes back after a power cut would be offered again.
    if remove_if_possible(part):
        sync_folder(part.parent)
    return clip


def write_clip(path: Path, clip: Clip) -> None:
    """Write ``clip`` as 24-bit FLAC or WAV, as the suffix says, replacing what has that name.

    The name appears only once the whole file has been read back and is on the disk
    (:func:`listen.durable.whole_file`). Samples of up to 24 bits come back exactly; values beyond full scale are held
    at it.

    Raises ClipError: unknown suffix, or a rate FLAC cannot hold. OSError: the disk is full, the folder cannot be
    written, or what was written does not read back."""
    form = FORMS.get(path.suffix.lower())
    if form is None:
        raise ClipError(f"{path.name}: clips are written as .flac or .wav")
    with whole_file(path) as file:
        _encode(file, clip, form)


def _encode(file: BinaryIO, clip: Clip, form: str) -> None:
    import soundfile

    # In memory first, at most 100 MB: so that a disk that refuses raises here, and not in a call from C.
    whole = io.BytesIO()
    try:
        with soundfile.SoundFile(whole, "w", clip.rate_hz, 1, "PCM_24", format=form) as out:
            out.comment = _comment(clip)
            for samples in _blocks(clip):
                out.write(_as_int32(samples))
    except (soundfile.LibsndfileError, AssertionError) as error:
        raise ClipError(f"{clip.name or 'clip'}: cannot be written as {form} ({error})") from error
    file.write(whole.getbuffer())
    file.flush()
    # Once it is named, the part it was made from goes: whatever swallowed a failure must be found out now.
    if not _reads_back(file, clip):
        raise OSError(errno.EIO, "what was written does not read back")


def _reads_back(file: BinaryIO, clip: Clip) -> bool:
    import soundfile

    file.seek(0)
    try:
        with soundfile.SoundFile(file) as back:
            if back.frames != len(clip.samples) or back.samplerate != clip.rate_hz:
                return False
            return all(np.array_equal(back.read(len(x), dtype="int32"), _as_int32(x)) for x in _blocks(clip))
    except (soundfile.LibsndfileError, AssertionError):
        return False


def _blocks(clip: Clip) -> Iterator[NDArray[np.float32]]:
    """The samples in pieces, so that a long clip is not in memory twice [shape=(n,)]."""
    for first in range(0, len(clip.samples), _BLOCK_SAMPLES):
        yield clip.samples[first : first + _BLOCK_SAMPLES]


def _as_int32(samples: NDArray[np.float32]) -> NDArray[np.int32]:
    """Rounded to 24 bits and left-justified, so that the library has nothing to scale [shape=(n,)]."""
    steps = np.rint(samples.astype(np.float64) * _FULL_SCALE)
    # Held at full scale: one step above it would wrap to the other sign.
    return np.clip(steps, -_FULL_SCALE, _FULL_SCALE - 1).astype(np.int32) << 8


def _comment(clip: Clip) -> str:
    taken = clip.taken.isoformat() if clip.taken else None
    coded = {"coded": clip.coded} if clip.coded else {}
    return json.dumps({"taken": taken, "device": clip.device, "overflows": clip.overflows} | coded)
