"""Sound as phones store it (AAC, AMR, ALAC in MP4 and 3GP): read through PyAV, an extra that is asked for by name."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from listen.errors import ClipError
from listen.signal.clip import Clip

PHONE_SUFFIXES = (".m4a", ".mp4", ".3gp", ".3gpp", ".3g2", ".amr", ".aac", ".caf", ".webm")
"""Files that libsndfile does not read."""
MOST_SAMPLES = 600 * 48_000
"""As :data:`listen.audio.files.MAX_SAMPLES`: no header makes us hold more."""
NEEDED = "is a phone's recording; install the extra that reads it (pip install 'hissway[phone]') or export it as WAV"
CONTAINERS = "mov,mp4,m4a,3gp,3g2,mj2,amr,aac,caf,matroska,webm"
"""Forms that may be opened, by FFmpeg's names: none that names other files or places to be fetched, as playlists do."""
COARSE = ("pcm_mulaw", "pcm_alaw", "pcm_u8", "pcm_s8")
"""Codings of 8 bits a sample: their steps hide the hiss looked for."""
LOSSLESS = ("alac", "flac", "pcm")
"""Codecs, by the beginning of their names, that give back every sample."""


def read_phone(path: Path, *, channel: int = 0, start_s: float = 0.0, seconds: float | None = None) -> Clip:
    """One channel of a phone's recording, in blocks as they are decoded.

    Raises ClipError: pyAV is not installed, no sound in the file, damaged, longer than can be taken, no such
    channel."""
    with _opened(path) as (container, stream):
        rate_hz, codec = int(stream.rate), str(stream.codec_context.name)
        first = round(start_s * rate_hz)
        last = None if seconds is None else first + round(seconds * rate_hz)
        samples = _decode(path, container.decode(stream), channel, first, last)
    coded = "" if codec.startswith(LOSSLESS) else codec.upper()[:20]
    return Clip.of(samples, rate_hz, name=path.name, coded=coded, copy=False)


def phone_blocks(path: Path, channel: int) -> Iterator[NDArray[np.float32]]:
    """One channel in blocks as they are decoded (``ClipError``)."""
    with _opened(path) as (container, stream):
        for frame in container.decode(stream):
            yield np.array(_channel(path, _floats(frame), channel), dtype=np.float32)


def _channel(path: Path, block: NDArray[np.float32], channel: int) -> NDArray[np.float32]:
    if not 0 <= channel < len(block):
        raise ClipError(f"{path.name}: no channel {channel}; it has {len(block)}, counted from 0")
    one: NDArray[np.float32] = block[channel]
    return one


def phone_form(path: Path) -> tuple[int, int, float, str]:
    """Sample rate, channels, claimed length in seconds and coding of a phone's recording (``ClipError``)."""
    with _opened(path) as (container, stream):
        seconds = float((container.duration or 0) / 1_000_000)
        return int(stream.rate), int(stream.channels), seconds, str(stream.codec_context.name).upper()


def phone_tags(path: Path) -> dict[str, str]:
    """What a phone wrote beside the sound: its creation time among it (``ClipError``)."""
    with _opened(path) as (container, _):
        return {str(k): str(v) for k, v in container.metadata.items()}


@contextmanager
def _opened(path: Path) -> Iterator[tuple[Any, Any]]:
    """The container and its first stream of sound."""
    try:
        import av
    except ImportError:
        raise ClipError(f"{path.name}: {NEEDED}") from None
    try:
        # By an open file, never by name: FFmpeg takes names with a colon for protocols.
        with path.open("rb") as file, av.open(file, options={"format_whitelist": CONTAINERS}) as container:
            if not container.streams.audio:
                raise ClipError(f"{path.name}: holds no sound")
            stream = container.streams.audio[0]
            if stream.codec_context is None:  # damaged, or of a coding that this FFmpeg was built without
                raise ClipError(f"{path.name}: its sound is coded in a way not known here; export it as WAV")
            if stream.codec_context.name in COARSE:
                raise ClipError(f"{path.name}: 8 bits hide the hiss, record with 16 bits or more")
            yield container, stream
    except (av.FFmpegError, ValueError, OSError) as error:
        raise ClipError(f"{path.name}: cannot be decoded ({error}); copy it again or export it as WAV") from error


def _decode(path: Path, frames: Any, channel: int, first: int, last: int | None) -> NDArray[np.float32]:
    blocks: list[NDArray[np.float32]] = []
    at = have = 0
    for frame in frames:
        block = _channel(path, _floats(frame), channel)
        part = block[max(0, first - at) : None if last is None else max(0, last - at)]
        at, have = at + len(block), have + len(part)
        if have > MOST_SAMPLES:
            raise ClipError(f"{path.name}: longer than {MOST_SAMPLES / 48_000:.0f} s at 48 kHz; cut it first")
        blocks.append(np.array(part, dtype=np.float32))
        if last is not None and at >= last:
            break
    return np.concatenate(blocks) if blocks else np.zeros(0, np.float32)


def _floats(frame: Any) -> NDArray[np.float32]:
    """Samples of one frame in full scales [shape=(channels, n)]."""
    x = frame.to_ndarray()
    if not frame.format.is_planar:
        x = x.reshape(-1, len(frame.layout.channels)).T
    if x.dtype.kind == "f":
        return np.asarray(x, dtype=np.float32)
    return np.asarray(x / float(np.iinfo(x.dtype).max + 1), dtype=np.float32)
