"""A photo brought into a job: upright, reduced, freed of what a camera writes beside it, and kept in the journal.

Kept there it is held by the chain, packed, merged and verified like every other event. Where it was taken, when and
with what device stays behind; the hash of the file it was made from says which original it was.
"""

import hashlib
import io
import secrets
from pathlib import Path
from typing import Any

from listen.durable import read_file
from listen.errors import HisswayError, refusal
from listen.jobs.events import PhotoKept
from listen.jobs.folder.journal import storable

MAX_FILE_BYTES = 60_000_000
"""Largest file read: a camera's JPEG has 5 to 25 MB."""
MAX_PIXELS = 150_000_000
"""Largest picture decoded; beyond it a small file may unpack to more memory than there is."""
SIDE_PIXELS = 1280
"""Longer side of the picture kept: a plug's insulator can be judged on it."""
KEPT_BYTES = 160_000
"""Size of the picture kept, at most; the quality is lowered until it fits, then the size."""
QUALITIES = (82, 70, 58, 45, 30)


def photo_event(file: Path, *, cylinder: int | None = None, of: str = "", text: str = "") -> PhotoKept:
    """The event that keeps a photo; the file itself is only read.

    Raises HisswayError: not there, no picture, or larger than can be read; the sentence says which."""
    with refusal(HisswayError, f"{file}: cannot be read", "check the name"):
        data = read_file(file, MAX_FILE_BYTES)
    picture, width, height = _reduced(file.name, data)
    return PhotoKept(
        photo=secrets.token_hex(6),
        picture=picture,
        width=width,
        height=height,
        original_sha256=hashlib.sha256(data).hexdigest(),
        imported_from=storable(file.name),
        cylinder=cylinder,
        of=of,
        text=storable(text),
    )


def decoded(picture: bytes, name: str = "the photo") -> Any:
    """The picture as a Pillow image, upright, RGB. Raises :class:`HisswayError` where it is none."""
    from PIL import Image, ImageOps

    try:
        with Image.open(io.BytesIO(picture)) as image:
            if image.width * image.height > MAX_PIXELS:
                raise HisswayError(
                    f"{name}: {image.width} x {image.height} pixels; at most {MAX_PIXELS} in all are read"
                )
            return ImageOps.exif_transpose(image).convert("RGB")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as e:  # what Pillow raises on odd files
        raise HisswayError(f"{name}: is no picture that can be read (JPEG, PNG or WebP); export it again") from e


def _reduced(name: str, data: bytes) -> tuple[bytes, int, int]:
    image = decoded(data, name)
    side = SIDE_PIXELS
    while True:
        # Only ever smaller, so that going round again works on what is there.
        image.thumbnail((side, side))
        for quality in QUALITIES:
            out = io.BytesIO()
            image.save(out, "JPEG", quality=quality, optimize=True)  # no exif is handed on
            if out.tell() <= KEPT_BYTES:
                return out.getvalue(), image.width, image.height
        side = side * 3 // 4  # grain, as of a dark bay, is too large at any quality
