"""Sound files out: 24 bits, whole under a passing name, read back, on the disk, then named; or small and in memory."""

import errno
import io
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


RATES_HZ = (8_000, 11_025, 12_000, 16_000, 22_050, 24_000, 32_000, 44_100, 48_000)
"""Rates that MPEG-1 and MPEG-2 audio layer III know (ISO/IEC 11172-3, 13818-3); others are resampled to the last."""
QUALITY = 0.6
"""libsndfile's compression quality (0 small to 1 large) of variable-rate MP3: measured, 6 to 8 kB a second of shop
noise at 48 kHz, with the hiss kept to 16 kHz."""
BLOCK = 8_192
"""Frames handed over at a time; libsndfile's writers keep long blocks on the stack."""


def mp3_bytes(clip: Clip, *, gain_db: float = 0.0) -> bytes:
    """The clip as MP3, one channel; ``gain_db`` is applied first and held at full scale.

    MP3 plays in every browser, those of old telephones included. It changes what the ear cannot hear; it is for
    listening, never for measuring.

    Raises ClipError: the clip cannot be held by the form, or this libsndfile cannot write it."""
    import soundfile

    out = io.BytesIO()
    rate_hz, samples = _at_known_rate(clip)
    loud = np.clip(samples * np.float32(10 ** (gain_db / 20)), -1.0, 1.0)
    try:
        with soundfile.SoundFile(
            out,
            "w",
            rate_hz,
            1,
            "MPEG_LAYER_III",
            format="MP3",
            bitrate_mode="VARIABLE",
            compression_level=1.0 - QUALITY,
        ) as file:
            for first in range(0, len(loud), BLOCK):
                file.write(loud[first : first + BLOCK])
    except (soundfile.LibsndfileError, TypeError, ValueError) as error:
        raise ClipError(f"{clip.name or 'clip'}: cannot be written as MP3 ({error})") from error
    return out.getvalue()


def _at_known_rate(clip: Clip) -> tuple[int, np.ndarray]:
    if clip.rate_hz in RATES_HZ:
        return clip.rate_hz, clip.samples
    import librosa

    return RATES_HZ[-1], librosa.resample(clip.samples, orig_sr=clip.rate_hz, target_sr=RATES_HZ[-1])
