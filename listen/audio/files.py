"""Sound files in: any form libsndfile reads, as one checked channel, never trusting what a header claims;
and a take that a crash left."""

from __future__ import annotations

import json
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from listen.audio.headers import OpenSound, PartHeader, missing_bytes
from listen.audio.phone import PHONE_SUFFIXES, open_phone
from listen.durable import read_file
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


def sound_info(path: Path) -> OpenSound:
    """Particulars of a sound file without decoding it, closed again. Raises ClipError: not a readable sound file."""
    with _opened(path) as file:
        return file


def channels_with_sound(path: Path) -> tuple[int, ...]:
    """Channels of a file that are not silent to the last digit over its first seconds, from 0 (``ClipError``)."""
    found = sound_info(path)
    seconds = min(LOOKED_AT_S, max(found.seconds, 0.01))
    # Bounded: a header may claim any number of channels.
    there = range(min(found.channels, MOST_CHANNELS))
    return tuple(c for c in there if np.ptp(read_clip(path, channel=c, seconds=seconds).samples) > 0)


def first_with_sound(path: Path) -> int:
    """The first channel unless it is dead and another is not: a recorder's second input (``ClipError``)."""
    return 0 if sound_info(path).channels == 1 else min(channels_with_sound(path), default=0)


def read_clip(path: Path, *, channel: int = 0, start_s: float = 0.0, seconds: float | None = None) -> Clip:
    """Read one channel (from 0) of a sound file, 8-192 kHz, int or float; all from ``start_s`` or so many seconds.

    Raises ClipError: not a sound file, empty, truncated, of 8 bits, longer than ``MAX_SECONDS``, no such channel, NaN
    or infinity, or a header that claims more than the file holds."""
    with _opened(path) as file:
        _check_form(path, file, channel)
        rate_hz = file.rate_hz
        first, wanted = round(start_s * rate_hz), None if seconds is None else round(seconds * rate_hz)
        if file.frames is not None:
            wanted = file.frames - first if wanted is None else wanted
            if not 0 <= first < file.frames or wanted <= 0:
                raise ClipError(f"{path.name}: lasts {file.seconds:.2f} s; nothing to read at {start_s} s")
        samples = _collected(path, file.blocks(channel, first), wanted, rate_hz)
        if file.frames is not None and wanted is not None and first + wanted >= file.frames:
            _check_whole(path, first + len(samples), file.frames)
        return Clip.of(samples, rate_hz, name=path.name, copy=False, **file.particulars)


def blocks(path: Path, channel: int) -> Iterator[NDArray[np.float32]]:
    """One channel in blocks as they are decoded; what :func:`read_clip` refuses is refused (``ClipError``)."""
    with _opened(path) as file:
        _check_form(path, file, channel)
        have = 0
        _check_length(path, file.frames or 0, file.rate_hz)
        for block in file.blocks(channel, 0):
            have += len(block)
            # Where only decoding tells how long it is.
            _check_length(path, have, file.rate_hz)
            yield block
        if file.frames is not None:
            _check_whole(path, have, file.frames)


def _collected(
    path: Path, found: Iterator[NDArray[np.float32]], wanted: int | None, rate_hz: int
) -> NDArray[np.float32]:
    """So many samples (all where None), as far as there are; never more than can be taken."""
    most = _check_length(path, wanted or 0, rate_hz)
    samples = np.empty(most if wanted is None else wanted, np.float32)  # pages that are never filled cost nothing
    have = 0
    for block in found:
        if wanted is None and have + len(block) > most:
            raise ClipError(f"{path.name}: longer than {most / rate_hz:.0f} s at {rate_hz} Hz; cut it first")
        part = block[: len(samples) - have]
        samples[have : have + len(part)] = part
        have += len(part)
        if have == wanted:
            break
    return samples[:have]


def _check_whole(path: Path, frames: int, claimed: int) -> None:
    if frames < claimed:
        raise ClipError(
            f"{path.name}: cut off, {claimed - frames} of {claimed} samples are missing; copy or record it again"
        )


@contextmanager
def _opened(path: Path) -> Iterator[OpenSound]:
    _check_file(path)
    if path.suffix.lower() in PHONE_SUFFIXES:
        with open_phone(path) as sound:
            yield sound
        return
    import soundfile

    try:
        # As bytes: a name that is no UTF-8 opens as well.
        file = soundfile.SoundFile(os.fsencode(path) if os.name == "posix" else str(path))
    except (soundfile.LibsndfileError, TypeError, ValueError) as error:
        raise ClipError(f"{path.name}: not a sound file we can read; WAV, FLAC, MP3, Ogg or Opus is needed") from error
    with file:
        coded = {"coded": CODED[file.subtype]} if file.subtype in CODED else {}
        yield OpenSound(
            file.samplerate,
            file.channels,
            seconds=file.frames / file.samplerate,
            form=f"{file.format} {file.subtype}",
            frames=file.frames,
            blocks=partial(_blocks, path, file),
            coarse=file.subtype in _COARSE,
            date=str(file.date),
            particulars=_particulars(file) | coded,
        )


def _blocks(path: Path, file: soundfile.SoundFile, channel: int, first: int) -> Iterator[NDArray[np.float32]]:
    from soundfile import LibsndfileError

    at, step = first, max(1, _BLOCK_SAMPLES // file.channels)
    try:
        if first:
            file.seek(first)
        # Two-dimensional whatever the file, so that one channel is taken alike from all.
        while len(block := file.read(step, dtype="float32", always_2d=True)):
            at += len(block)
            yield np.ascontiguousarray(block[:, channel])
    except LibsndfileError as error:
        at_s = at / file.samplerate
        raise ClipError(f"{path.name}: damaged or cut off soon after {at_s:.1f} s; copy or record it again") from error


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


def _check_form(path: Path, file: OpenSound, channel: int) -> None:
    if file.coarse:
        raise ClipError(f"{path.name}: {file.form} sound; 8 bits hide the hiss, record with 16 bits or more")
    if not 0 <= channel < file.channels:
        raise ClipError(f"{path.name}: no channel {channel}; it has {file.channels}, counted from 0")
    if not MIN_RATE_HZ <= file.rate_hz <= MAX_RATE_HZ:
        raise ClipError(
            f"{path.name}: sample rate {file.rate_hz} Hz; from {MIN_RATE_HZ} to {MAX_RATE_HZ} Hz can be measured"
        )
    if file.frames is not None and file.frames <= 0:
        raise ClipError(f"{path.name}: holds no samples; record it again")


def _check_length(path: Path, wanted: int, rate_hz: int) -> int:
    """Refuse more samples than can be taken; gives how many that are."""
    limit_s = min(MAX_SECONDS, MAX_SAMPLES / rate_hz)
    if wanted > limit_s * rate_hz:
        raise ClipError(
            f"{path.name}: {wanted / rate_hz:.0f} s long; at most {limit_s:.0f} s at {rate_hz} Hz are taken"
        )
    return int(limit_s * rate_hz)


def _particulars(file: soundfile.SoundFile) -> dict[str, Any]:
    """Time, device and overflows that :func:`listen.audio.write.write_clip` put beside the sound, where present."""
    try:
        comment = json.loads(file.comment)
        taken = datetime.fromisoformat(comment["taken"]) if comment.get("taken") else None
        overflows = int(comment.get("overflows", 0))
        # Cut: a comment is anybody's text and may hold a megabyte.
        names = {name: str(comment.get(name, ""))[:200] for name in ("device", "coded")}
        return {"taken": taken, "overflows": overflows, **names} if overflows >= 0 else {}
    # A comment is anybody's text: whatever is wrong with it, the sound is worth having.
    except (ValueError, TypeError, KeyError, AttributeError, OverflowError, RecursionError):
        return {}


def read_part(path: Path) -> Clip:
    """Read what a part holds, without what a crash left at its end: a torn last sample, samples that are not finite, a
    zero-filled tail.

    Raises ClipError: not a part, or no sound in it yet."""
    with refusal(ClipError, f"{path.name}: cannot be read"):
        data = read_file(path, PartHeader.MOST_BYTES)
    try:
        h = msgspec.json.decode(data[: PartHeader.BYTES], type=PartHeader)
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise ClipError(f"{path.name}: not an unfinished clip of this program") from error
    held = max(0, len(data) - PartHeader.BYTES) // PartHeader.SAMPLE.itemsize
    samples = np.frombuffer(data, PartHeader.SAMPLE, held, PartHeader.BYTES) if held else np.zeros(0, PartHeader.SAMPLE)
    # Where it ended in good order nothing is cut: zeros at its end were recorded.
    if h.frames is None or h.frames > held:
        finite = np.isfinite(samples)
        # A sector that never reached the disk reads as anything; what follows it is not trusted.
        samples = samples if finite.all() else samples[: int(np.argmin(finite))]
        samples = samples[: int(np.flatnonzero(samples).max(initial=-1)) + 1]
    if not len(samples):
        raise ClipError(f"{path.name}: no sound had arrived yet; record this clip again")
    return Clip.of(
        samples, h.rate_hz, taken=h.started, device=h.device, overflows=h.overflows, coded=h.coded, name=path.name
    )
