"""Takes still being written: where they lie, and what their names say about them."""

from __future__ import annotations

import re
import secrets
from pathlib import Path

import msgspec

PARTS = "parts"
CLIPS = "clips"
_ID = re.compile(r"[a-z0-9][a-z0-9-]{0,63}")
_NAME = re.compile(
    r"(?P<clip>[a-z0-9-]+)\.(?P<round_id>[a-z0-9-]+)\.(?P<point>[a-z0-9-]+)\.(?P<clip_kind>[a-z-]+)\.(?P<walk>[a-z]+)\.part"
)


class Partial(msgspec.Struct, frozen=True, kw_only=True):
    """A take on disk that is not yet a clip; its file name alone says where it belongs."""

    path: Path
    clip: str
    round_id: str
    point: str
    clip_kind: str
    walk: str


def new_clip_id() -> str:
    """A fresh clip identifier, unique over machines: 12 hex digits."""
    return secrets.token_hex(6)


def is_clip_id(text: str) -> bool:
    """Whether a clip id from a journal may be used as a file name."""
    return _ID.fullmatch(text) is not None


def new_partial(folder: Path, round_id: str, point: str, clip_kind: str, walk: str) -> Partial:
    """Name a fresh take of the job in ``folder``; nothing is written yet."""
    clip = new_clip_id()
    path = folder / PARTS / f"{clip}.{round_id}.{point}.{clip_kind}.{walk}.part"
    return Partial(path=path, clip=clip, round_id=round_id, point=point, clip_kind=clip_kind, walk=walk)


def read_name(path: Path) -> Partial | None:
    """What a part's name says; None for a file that is not ours."""
    m = _NAME.fullmatch(path.name)
    return Partial(path=path, **m.groupdict()) if m else None


def partials(folder: Path) -> tuple[Partial, ...]:
    """All takes lying in the job's folder, oldest first."""
    try:
        files = sorted((folder / PARTS).iterdir(), key=lambda p: p.stat().st_mtime_ns)
    except OSError:
        return ()
    return tuple(part for f in files if (part := read_name(f)) is not None)
