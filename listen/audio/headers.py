"""What a sound file says of itself, whatever decodes it, an unfinished one of ours too; and what a RIFF or FORM header
promises against what its file holds, a difference that decoders mend in silence."""

import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any, BinaryIO, ClassVar, Literal

import msgspec
import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class OpenSound:
    """A sound file and, while it is open, its sound."""

    rate_hz: int
    channels: int
    seconds: float
    form: str
    """Container and coding, for example ``WAV PCM_24``."""
    frames: int | None
    """Samples a channel that it claims; None where only decoding tells."""
    blocks: Callable[[int, int], Iterator[NDArray[np.float32]]]
    """Of a channel (from 0), from a sample on, block by block [shape=(n,)]; ``ClipError`` where it is damaged."""
    coarse: bool
    """Whether it has 8 bits or fewer a sample: their steps lie near -50 dBFS, above the hiss looked for."""
    date: str = ""
    """When it was made, in words of its own."""
    particulars: dict[str, Any] = field(default_factory=dict)
    """Fields of :class:`listen.signal.clip.Clip` that it carries."""


_CHUNK_LIMIT = 1000
"""Chunks looked at before giving up; real files have a handful."""
_SOUND_CHUNKS = (b"data", b"SSND")
_SEE_DS64 = 0xFFFF_FFFF
"""Size of an RF64 data chunk whose true size stands in the ds64 chunk (EBU Tech 3306)."""


def chunk(path: Path, wanted: bytes, size: int) -> bytes:
    """The first ``size`` bytes of a named chunk of a RIFF or RF64 file; empty where it has none."""
    with path.open("rb") as file:
        return next((file.read(min(length, size)) for name, length in _chunks(file) if name == wanted), b"")


def missing_bytes(path: Path) -> int:
    """Bytes of sound that a WAV, RF64 or AIFF header claims beyond the end of its file; 0 for any other form.

    Reads chunk headers only, whatever the sizes in them say.
    """
    long_sizes = b""
    with path.open("rb") as file:
        for name, length in _chunks(file):
            if name == b"ds64":
                long_sizes = file.read(min(length, 16))
            elif name in _SOUND_CHUNKS:
                if length == _SEE_DS64 and len(long_sizes) == 16:
                    length = struct.unpack("<QQ", long_sizes)[1]
                return max(0, file.tell() + length - path.stat().st_size)
    return 0


def _chunks(file: BinaryIO) -> Iterator[tuple[bytes, int]]:
    """Names and lengths of chunks, the file standing at the content of each."""
    form = file.read(12)[:4]
    if form not in (b"RIFF", b"RF64", b"RIFX", b"FORM"):
        return
    # RIFF and RF64 are little-endian, RIFX and AIFF's FORM big-endian.
    layout = struct.Struct("<4sI" if form in (b"RIFF", b"RF64") else ">4sI")
    for _ in range(_CHUNK_LIMIT):
        head = file.read(layout.size)
        if len(head) < layout.size:
            return
        name, length = layout.unpack(head)
        begins = file.tell()
        yield name, length
        # Chunks are padded to an even length, which theirs does not count.
        file.seek(begins + length + length % 2)


_Count = Annotated[int, msgspec.Meta(ge=0)]


class PartHeader(msgspec.Struct, frozen=True):
    """What an unfinished clip says of itself: a line of JSON padded with spaces to ``BYTES``. Float32 samples follow,
    little-endian, of one channel: any crash leaves it readable."""

    BYTES: ClassVar[int] = 512
    """One disk sector, so that rewriting it with the overflow count is whole or not at all."""
    MOST_BYTES: ClassVar[int] = BYTES + 4 * 600 * 192_000
    """Ten minutes at the highest rate; a larger file is no part of ours."""
    SAMPLE: ClassVar[np.dtype[np.float32]] = np.dtype("<f4")
    rate_hz: _Count
    device: str
    started: datetime | None
    """When the first sample was taken, UTC; None where nobody knows."""
    overflows: _Count = 0
    frames: _Count | None = None
    """Samples in all, once the recording has ended in good order."""
    coded: str = ""
    """As :attr:`listen.signal.clip.Clip.coded`."""
    schema: Literal["hissway.part/1"] = "hissway.part/1"

    def encode(self) -> bytes:
        """One padded line of ``BYTES``; a device name too long for it is cut."""
        device = self.device[: self.BYTES].encode("utf-8", "replace").decode()
        line = msgspec.json.encode(replace(self, device=device))
        if (over := len(line) - (self.BYTES - 1)) > 0:
            fewer = -(-over // 6)  # a control character takes six bytes; others less, so it may be asked again
            return replace(self, device=device[:-fewer]).encode()
        return line.ljust(self.BYTES - 1) + b"\n"
