"""Sound files out: 24 bits, whole under a passing name, read back, on the disk, then named."""

import errno
import json
from collections.abc import Callable, Iterator
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
_BLOCK_SAMPLES = 1 << 16


def write_flac(path: Path, clip: Clip) -> None:
    """Write ``clip`` as 24-bit FLAC; see :func:`write_clip`."""
    with whole_file(path) as file:
        _encode(file, clip, "FLAC")


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

    target = _Target(file)
    try:
        with soundfile.SoundFile(target, "w", clip.rate_hz, 1, "PCM_24", format=form) as out:
            out.comment = _comment(clip)
            for samples in _blocks(clip):
                out.write(_as_int32(samples))
    except (soundfile.LibsndfileError, AssertionError) as error:
        # The disk's own word first: the library only says that it could not write.
        target.raise_failure()
        raise ClipError(f"{clip.name or 'clip'}: cannot be written as {form} ({error})") from error
    target.raise_failure()
    file.flush()
    # Once it is named, the part it was made from goes: whatever swallowed a failure must be found out now.
    if not _reads_back(file, clip):
        raise OSError(errno.EIO, "what was written does not read back")


class _Target:
    """The file as libsndfile sees it: its calls come from C and must not raise, so a failure is kept and told after."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self._failure: OSError | None = None

    def _tried(self, work: Callable[[], int], instead: int) -> int:
        try:
            return instead if self._failure else work()
        except OSError as error:
            self._failure = error
            return instead

    def write(self, data: bytes) -> int:
        return self._tried(lambda: self._file.write(data), len(data))

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._tried(lambda: self._file.seek(offset, whence), 0)

    def tell(self) -> int:
        return self._tried(self._file.tell, 0)

    def read(self, size: int) -> bytes:
        return self._file.read(size)

    def raise_failure(self) -> None:
        if self._failure is not None:
            raise self._failure


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
    return np.clip(steps, -_FULL_SCALE, _FULL_SCALE - 1).astype(np.int32) << 8


def _comment(clip: Clip) -> str:
    taken = clip.taken.isoformat() if clip.taken else None
    coded = {"coded": clip.coded} if clip.coded else {}
    return json.dumps({"taken": taken, "device": clip.device, "overflows": clip.overflows} | coded)
