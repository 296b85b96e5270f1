"""What a RIFF or FORM header promises against what its file holds; the decoder mends the difference in silence."""

from __future__ import annotations

import struct
from pathlib import Path

_CHUNK_LIMIT = 1000
"""Chunks looked at before giving up; real files have a handful."""
_SOUND_CHUNKS = (b"data", b"SSND")


def missing_bytes(path: Path) -> int:
    """Bytes of sound that a WAV or AIFF header claims beyond the end of its file; 0 for any other form.

    Reads chunk headers only, whatever the sizes in them say.
    """
    size = path.stat().st_size
    with path.open("rb") as file:
        form = file.read(12)
        if form[:4] not in (b"RIFF", b"RIFX", b"FORM"):
            return 0
        layout = struct.Struct("<4sI" if form[:4] == b"RIFF" else ">4sI")
        for _ in range(_CHUNK_LIMIT):
            head = file.read(layout.size)
            if len(head) < layout.size:
                return 0
            name, length = layout.unpack(head)
            if name in _SOUND_CHUNKS:
                return max(0, file.tell() + int(length) - size)
            file.seek(length + length % 2, 1)
    return 0
