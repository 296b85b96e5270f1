"""What a RIFF or FORM header promises against what its file holds; the decoder mends the difference in silence."""

import struct
from pathlib import Path

_CHUNK_LIMIT = 1000
"""Chunks looked at before giving up; real files have a handful."""
_SOUND_CHUNKS = (b"data", b"SSND")
_SEE_DS64 = 0xFFFF_FFFF
"""Size of an RF64 data chunk whose true size stands in the ds64 chunk (EBU Tech 3306)."""


def chunk(path: Path, wanted: bytes, size: int) -> bytes:
    """The first ``size`` bytes of a named chunk of a RIFF or RF64 file; empty where it has none."""
    with path.open("rb") as file:
        if file.read(12)[:4] not in (b"RIFF", b"RF64"):
            return b""
        for _ in range(_CHUNK_LIMIT):
            head = file.read(8)
            if len(head) < 8:
                return b""
            name, length = struct.unpack("<4sI", head)
            if name == wanted:
                return file.read(min(length, size))
            file.seek(length + length % 2, 1)
    return b""


def missing_bytes(path: Path) -> int:
    """Bytes of sound that a WAV, RF64 or AIFF header claims beyond the end of its file; 0 for any other form.

    Reads chunk headers only, whatever the sizes in them say.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        form = file.read(12)
        if form[:4] not in (b"RIFF", b"RF64", b"RIFX", b"FORM"):
            return 0
        layout = struct.Struct("<4sI" if form[:4] in (b"RIFF", b"RF64") else ">4sI")
        long_sizes = b""
        for _ in range(_CHUNK_LIMIT):
            head = file.read(layout.size)
            if len(head) < layout.size:
                return 0
            name, length = layout.unpack(head)
            if name == b"ds64" and form[:4] == b"RF64":
                long_sizes = file.read(min(length, 16))
                length = max(0, length - len(long_sizes))
            if name in _SOUND_CHUNKS:
                if length == _SEE_DS64 and len(long_sizes) == 16:
                    length = struct.unpack("<QQ", long_sizes)[1]
                return max(0, file.tell() + int(length) - size)
            file.seek(length + length % 2, 1)
    return 0
