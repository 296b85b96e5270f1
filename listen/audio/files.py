"""Sound files in: any form libsndfile reads, as one checked channel, never trusting what a header claims."""

from __future__ import annotations

import json
import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from listen.audio.headers import missing_bytes
from listen.audio.phone import PHONE_SUFFIXES, phone_blocks, phone_form, read_phone
from listen.errors import ClipError, refusal
from listen.signal.clip import MAX_RATE_HZ, MIN_RATE_HZ, Clip

if TYPE_CHECKING:
    import soundfile

MAX_SECONDS = 600.0
"""Longest clip taken; a walk needs 5-10 s a point."""
MAX_SAMPLES = 600 * 48_000
"""Most samples taken a channel (115 MB as float32): ten minutes at 48 kHz, two and a half at 192 kHz."""
_BLOCK_SAMPLES = 1 << 16
"""Samples decoded at once over all channels (1.4 s of one at 48 kHz), so that no header can make us allocate."""
CODED = {"MPEG_LAYER_I": "MP1", "MPEG_LAYER_II": "MP2", "MPEG_LAYER_III": "MP3", "VORBIS": "Vorbis", "OPUS": "Opus"}
"""Codings that leave out what an ear would not miss, by libsndfile's name."""
SUFFIXES = (".wav", ".flac", ".mp3", ".ogg", ".oga", ".opus", ".aif", ".aiff", ".bwf", ".rf64", ".w64")
"""Sound files looked for in a folder; phones' own forms stand in :mod:`listen.audio.phone`."""
LOOKED_AT_S = 5.0
"""Of each channel, to see whether it has sound."""
MOST_CHANNELS = 16
"""Looked at for sound; interfaces in workshops have up to so many."""
_COARSE = frozenset({"PCM_S8", "PCM_U8", "ULAW", "ALAW", "DPCM_8", "DWVW_12", "IMA_ADPCM", "MS_ADPCM", "VOX_ADPCM"})
"""Codings of 8 bits or fewer a sample: their steps lie near -50 dBFS, above the hiss looked for."""


@dataclass(frozen=True, slots=True)
class SoundInfo:
    rate_hz: int
    channels: int
    seconds: float
    form: str
    """Container and coding, for example ``WAV PCM_24``."""


def sound_info(path: Path) -> SoundInfo:
    """Particulars of a sound file without decoding it. Raises ClipError: not a readable sound file."""
    if path.suffix.lower() in PHONE_SUFFIXES:
        _check_file(path)
        return SoundInfo(*phone_form(path))
    with _opened(path) as file:
        seconds = file.frames / file.samplerate
        return SoundInfo(file.samplerate, file.channels, seconds, f"{file.format} {file.subtype}")


def taken_and_date(path: Path) -> tuple[datetime | None, str]:
    """When a clip of ours was taken, by its own note, and the date that a file carries as text (``ClipError``)."""
    with _opened(path) as file:
        return _particulars(file).get("taken"), str(file.date)


def channels_with_sound(path: Path) -> tuple[int, ...]:
    """Channels of a file that are not silent to the last digit over its first seconds, from 0 (``ClipError``)."""
    found = sound_info(path)
    seconds = min(LOOKED_AT_S, max(found.seconds, 0.01))
    there = range(min(found.channels, MOST_CHANNELS))
    return tuple(c for c in there if np.ptp(read_clip(path, channel=c, seconds=seconds).samples) > 0)


def first_with_sound(path: Path) -> int:
    """The first channel unless it is dead and another is not: a recorder's second input (``ClipError``)."""
    return 0 if sound_info(path).channels == 1 else min(channels_with_sound(path), default=0)


def read_clip(path: Path, *, channel: int = 0, start_s: float = 0.0, seconds: float | None = None) -> Clip:
    """Read one channel of a WAV, FLAC or other file that libsndfile knows, 8-192 kHz, int or float.

    Parameters
    ----------
    path
        Sound file.
    channel
        Which channel, from 0.
    start_s, seconds
        Part to read; all from ``start_s`` by default.

    Raises
    ------
    ClipError
        Not a sound file, empty, truncated, of 8 bits, longer than ``MAX_SECONDS``, no such channel, NaN or infinity,
        or a header that claims more than the file holds.
    """
    if path.suffix.lower() in PHONE_SUFFIXES:
        _check_file(path)
        return read_phone(path, channel=channel, start_s=start_s, seconds=seconds)
    with _opened(path) as file:
        _check_form(path, file, channel)
        first = round(start_s * file.samplerate)
        wanted = file.frames - first if seconds is None else round(seconds * file.samplerate)
        if first < 0 or first >= file.frames or wanted <= 0:
            raise ClipError(f"{path.name}: lasts {file.frames / file.samplerate:.2f} s; nothing to read at {start_s} s")
        _check_length(path, wanted, file.samplerate)
        whole = first + wanted >= file.frames
        samples = _decode(path, file, channel, first, wanted)
        if whole:
            _check_whole(path, first + len(samples), file.frames)
        particulars = _particulars(file)
        if file.subtype in CODED:
            particulars["coded"] = CODED[file.subtype]
        return Clip.of(samples, file.samplerate, name=path.name, copy=False, **particulars)


def blocks(path: Path, channel: int) -> Iterator[NDArray[np.float32]]:
    """One channel in blocks as they are decoded; what :func:`read_clip` refuses is refused (``ClipError``)."""
    if path.suffix.lower() in PHONE_SUFFIXES:
        yield from phone_blocks(path, channel)
        return
    from soundfile import LibsndfileError

    with _opened(path) as file:
        _check_form(path, file, channel)
        _check_length(path, file.frames, file.samplerate)
        step, have = max(1, _BLOCK_SAMPLES // file.channels), 0
        into = np.empty(step, np.float32)
        try:
            while got := _next_block(file, into, channel):
                have += got
                yield into[:got].copy()
        except LibsndfileError as error:
            raise _damaged(path, have / file.samplerate) from error
        _check_whole(path, have, file.frames)


def _check_whole(path: Path, frames: int, claimed: int) -> None:
    if frames < claimed:
        raise ClipError(
            f"{path.name}: cut off, {claimed - frames} of {claimed} samples are missing; copy or record it again"
        )


def _damaged(path: Path, at_s: float) -> ClipError:
    return ClipError(f"{path.name}: damaged or cut off soon after {at_s:.1f} s; copy or record it again")


def _opened(path: Path) -> soundfile.SoundFile:
    _check_file(path)
    import soundfile

    try:
        return soundfile.SoundFile(os.fsencode(path) if os.name == "posix" else str(path))
    except (soundfile.LibsndfileError, TypeError, ValueError) as error:
        raise ClipError(f"{path.name}: not a sound file we can read; WAV, FLAC, MP3, Ogg or Opus is needed") from error


def _check_file(path: Path) -> None:
    with refusal(ClipError, f"{path.name}: cannot be read"):
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            raise ClipError(f"{path.name}: not a file; a sound file is needed")
        if found.st_size == 0:
            raise ClipError(f"{path.name}: empty file; record it again")
        missing = missing_bytes(path)
    if missing:
        raise ClipError(
            f"{path.name}: its header claims {missing} bytes more than the file holds; cut off, copy or record it again"
        )


def _check_form(path: Path, file: soundfile.SoundFile, channel: int) -> None:
    if file.subtype in _COARSE:
        raise ClipError(f"{path.name}: {file.subtype} sound; 8 bits hide the hiss, record with 16 bits or more")
    if not 0 <= channel < file.channels:
        raise ClipError(f"{path.name}: no channel {channel}; it has {file.channels}, counted from 0")
    if not MIN_RATE_HZ <= file.samplerate <= MAX_RATE_HZ:
        raise ClipError(
            f"{path.name}: sample rate {file.samplerate} Hz; from {MIN_RATE_HZ} to {MAX_RATE_HZ} Hz can be measured"
        )
    if file.frames <= 0:
        raise ClipError(f"{path.name}: holds no samples; record it again")


def _check_length(path: Path, wanted: int, rate_hz: int) -> None:
    limit_s = min(MAX_SECONDS, MAX_SAMPLES / rate_hz)
    if wanted > limit_s * rate_hz:
        raise ClipError(
            f"{path.name}: {wanted / rate_hz:.0f} s long; at most {limit_s:.0f} s at {rate_hz} Hz are taken"
        )


def _decode(path: Path, file: soundfile.SoundFile, channel: int, first: int, wanted: int) -> NDArray[np.float32]:
    from soundfile import LibsndfileError

    step = max(1, _BLOCK_SAMPLES // file.channels)
    samples = np.empty(wanted, np.float32)  # at most MAX_SAMPLES; pages that are never filled cost nothing
    have = 0
    try:
        if first:
            file.seek(first)
        while have < wanted:
            got = _next_block(file, samples[have : have + step], channel)
            if not got:
                break
            have += got
    except LibsndfileError as error:
        raise _damaged(path, (first + have) / file.samplerate) from error
    return samples[:have]


def _next_block(file: soundfile.SoundFile, into: NDArray[np.float32], channel: int) -> int:
    """Decode the next samples of one channel into place; how many there were."""
    if file.channels == 1:
        return len(file.read(out=into))
    block = file.read(len(into), dtype="float32", always_2d=True)
    into[: len(block)] = block[:, channel]
    return len(block)


def _particulars(file: soundfile.SoundFile) -> dict[str, Any]:
    """Time, device and overflows that :func:`listen.audio.write.write_clip` put beside the sound, where present."""
    try:
        comment = json.loads(file.comment)
        taken = datetime.fromisoformat(comment["taken"]) if comment.get("taken") else None
        overflows = int(comment.get("overflows", 0))
        names = {name: str(comment.get(name, ""))[:200] for name in ("device", "coded")}
        return {"taken": taken, "overflows": overflows, **names} if overflows >= 0 else {}
    except (ValueError, TypeError, KeyError, AttributeError, OverflowError, RecursionError):
        return {}
