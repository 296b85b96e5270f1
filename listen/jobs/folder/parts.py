"""Takes still being written: where they lie, and what their names say."""

import re
import secrets
from pathlib import Path

import msgspec

from listen.durable import sha256_of
from listen.jobs.events import ClipKept

PARTS = "parts"
CLIPS = "clips"
_ID = re.compile(r"[a-z0-9][a-z0-9-]{0,63}")
_NAME = re.compile(
    r"(?P<clip>[a-z0-9-]+)\.(?P<round_id>[a-z0-9-]+)\.(?P<point>[a-z0-9-]+)\.(?P<clip_kind>[a-z-]+)\.(?P<walk>[a-z]+)"
    r"(\.on(?P<on_ms>[0-9-]+))?(\.with-(?P<together>[a-z0-9-]+))?\.part"
)
LONGEST_TIMES = 100
"""Characters of commanded times in a name: file systems take 255 in all. More are not said there."""
Spans = tuple[tuple[float, float], ...]
"""When the air was commanded on and off, seconds from the start of a take."""


class Partial(msgspec.Struct, frozen=True, kw_only=True):
    """A take on disk that is not yet a clip; its file name alone says where it belongs."""

    path: Path
    clip: str
    round_id: str
    point: str
    clip_kind: str
    walk: str
    on_s: Spans = ()
    """When the air was commanded on and off in a switched take, to the millisecond."""
    together: str = ""
    """Shared by the parts of one take of several channels."""


def new_clip_id() -> str:
    return secrets.token_hex(6)


def is_clip_id(text: str) -> bool:
    """Whether a clip id from a journal may be used as a file name."""
    return _ID.fullmatch(text) is not None


def clip_file(folder: Path, clip_id: str) -> Path | None:
    """The sound file of a clip, or None where the identifier cannot be a file name."""
    return folder / CLIPS / f"{clip_id}.flac" if is_clip_id(clip_id) else None


def clip_fault(folder: Path, clip: ClipKept) -> str:
    """Why the file of a clip of the job in ``folder`` is not the one that was kept; empty where it is."""
    if (path := clip_file(folder, clip.clip)) is None:
        return "its id cannot be a file name"
    try:
        # From the clip up to the job's folder, which is not looked at itself.
        if any(step.is_symlink() for step in (path, *path.parents[: path.parents.index(folder)])):
            return "is a link to somewhere else; what it holds may change unseen"
        # A pipe of that name would keep its reader waiting for ever.
        if path.exists() and not path.is_file():
            return "is no file of sound"
        return "" if sha256_of(path) == clip.sha256 else "the file is not the one that was kept: its hash differs"
    except FileNotFoundError:
        return "the file is missing"
    except OSError as e:
        return f"the file cannot be read ({e.strerror})"


def new_partial(
    folder: Path, round_id: str, point: str, clip_kind: str, walk: str, on_s: Spans = (), together: str = ""
) -> Partial:
    """Name a fresh take of the job in ``folder``; nothing is written yet."""
    clip = new_clip_id()
    # In the name, since a crash leaves nothing but the file: whatever a take must not lose stands there.
    times = "-".join(str(round(1000 * t)) for span in on_s for t in span)
    # Left out rather than cut: half the times would be wrong ones.
    more = f".on{times}" if 0 < len(times) <= LONGEST_TIMES else ""
    more += f".with-{together}" if is_clip_id(together) else ""
    what = {"clip": clip, "round_id": round_id, "point": point, "clip_kind": clip_kind, "walk": walk}
    return Partial(path=folder / PARTS / f"{'.'.join(what.values())}{more}.part", on_s=on_s, together=together, **what)


def read_name(path: Path) -> Partial | None:
    """What a part's name says; None for a file that is not ours."""
    m = _NAME.fullmatch(path.name)
    if m is None:
        return None
    fields = m.groupdict(default="")
    ms = [int(t) for t in fields.pop("on_ms").split("-") if t]
    return Partial(
        path=path, on_s=tuple((a / 1000, b / 1000) for a, b in zip(ms[::2], ms[1::2], strict=False)), **fields
    )


def partials(folder: Path) -> tuple[Partial, ...]:
    try:
        files = sorted((folder / PARTS).iterdir(), key=lambda p: p.stat().st_mtime_ns)
    except OSError:
        return ()
    return tuple(part for f in files if (part := read_name(f)) is not None)
