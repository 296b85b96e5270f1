"""A bag from a stranger: looked at before anything is written, unpacked in a stream within limits, or refused."""

import io
import os
import re
import shutil
import stat
import struct
import unicodedata
import zipfile
import zlib
from collections.abc import Callable, Iterator
from functools import partial
from itertools import islice
from pathlib import Path
from typing import IO, NamedTuple

import msgspec

from listen.durable import job_errors
from listen.errors import JobError
from listen.jobs.exchange.bag import open_bag, stray


class Limits(msgspec.Struct, frozen=True, kw_only=True):
    entries: int = 5_000
    """Files; a job of 24 cylinders with 30 clips each has under 1,000, and each costs a write that is waited for."""
    total_bytes: int = 4_000_000_000
    clip_bytes: int = 400_000_000
    """One clip: 600 s at 192 kHz and 24 bits is 346 MB before FLAC makes it smaller."""
    journal_bytes: int = 64_000_000
    """The journal; a busy job has well under 1 MB."""
    tag_bytes: int = 8_000_000
    ratio: float = 200.0
    """Unpacked over packed size of one file; a journal packs about 10:1, sound hardly at all."""
    directory_bytes: int = 4_000_000
    """The zip's own list of files, which is read into memory at once; 5,000 names take well under 1 MB."""


LIMITS = Limits()
ROOM_LEFT_BYTES = 50_000_000
CHUNK_BYTES = 1 << 20
RATIO_FREE_BYTES = 100_000
"""Files up to this size may be packed as hard as they like."""

_TAGS = r"bagit\.txt|bag-info\.txt|(?:tag)?manifest-sha256\.txt"
_TOP = r"(?:(?P<top>[^/]{1,200})/)?"
"""The bag's own folder, whatever another tool calls it, or none: it names nothing here."""
_NAME = re.compile(
    rf"{_TOP}(?P<inside>(?P<tag>{_TAGS})|data/(?P<journal>journal\.jsonl)|data/clips/(?P<clip>[a-z0-9-]{{1,64}}\.flac))"
)
_FOLDER = re.compile(rf"{_TOP}(?:data/(?:clips/)?)?")
BAG = "bag"
LEAST_CLIP_BYTES = 42
"""The mark of a FLAC file and its first block (RFC 9639); a shorter file holds no sound."""


class _File(NamedTuple):
    """One entry of a bag that is not trusted yet."""

    name: str
    size: int
    fault: str
    """Why the whole bag is refused for it; empty where it may be taken."""
    opened: Callable[[], IO[bytes] | io.FileIO]


def unzip_bag(path: Path, into: Path, limits: Limits = LIMITS) -> Path:
    """Unpack a bag into the empty folder ``into``; gives the bag's folder.

    Nothing is ever written outside ``into``, nothing in it is replaced, and no name from the zip is used as a path:
    only names of the form a bag of ours has are known.

    Raises JobError: not a zip, damaged, or anything in it that a job's bag does not hold, with the reason."""
    with job_errors("unpack", path), _Bounded(path, limits.directory_bytes) as file:
        try:
            if not zipfile.is_zipfile(file):
                raise JobError(f"{path}: not a zip file; give the file that hissway pack wrote")
            with zipfile.ZipFile(file) as archive:
                return _taken(path, _zipped(archive, limits), into, limits)
        except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, struct.error) as e:
            raise JobError(f"{path}: the zip is damaged ({_shown(str(e))}); ask for it again") from e
        # The library lets some of its own stumbles through; a stranger's file must never end in a traceback.
        except (UnicodeDecodeError, ValueError) as e:
            raise JobError(f"{path}: the zip is not one of ours ({_shown(str(e))}); it is refused") from e


def copy_bag(path: Path, into: Path, limits: Limits = LIMITS) -> Path:
    """Copy a bag that lies open into the empty folder ``into``, held to the same as one in a zip.

    Raises JobError: no bag, or anything in it that a job's bag does not hold, with the reason."""
    bag = open_bag(path)
    if bag is None:
        raise JobError(f"{path}: holds no bag; give the zip that hissway pack wrote, or the folder it was unpacked to")
    with job_errors("read the bag", bag):
        return _taken(bag, _lying_open(bag, limits), into, limits)


def _zipped(archive: zipfile.ZipFile, limits: Limits) -> Iterator[_File]:
    names: dict[str, str] = {}
    for info in archive.infolist():
        fault = _name_fault(info, names) or _sort_fault(info) or _size_fault(info, limits)
        # Noted after it was looked at, or each would be its own twin.
        names[_folded(info.filename)] = info.filename
        yield _File(info.orig_filename, info.file_size, fault, partial(archive.open, info))


def _lying_open(bag: Path, limits: Limits) -> Iterator[_File]:
    for file in sorted(bag.rglob("*")):
        name, folder = file.relative_to(bag).as_posix(), file.is_dir()
        if stray(name):
            continue
        known = _FOLDER.fullmatch(f"{name}/") if folder else _NAME.fullmatch(name)
        fault = "a link" if file.is_symlink() else "" if known else "a file that a job's bag does not hold"
        # Of the link, not of what it leads to: that may be a device, or endless.
        size = 0 if folder else file.lstat().st_size
        fault = fault or ("" if folder else _too_large(name, size, limits))
        yield _File(f"{name}/" if folder else name, size, fault, partial(io.FileIO, file))


def _taken(path: Path, files_in: Iterator[_File], into: Path, limits: Limits) -> Path:
    """Write every file of a bag into its place; before that the first thing that is not right refuses it whole."""
    found = list(islice(files_in, limits.entries + 1))
    if len(found) > limits.entries:
        raise JobError(f"{path}: more than {limits.entries} files; a job's bag has no more; refused")
    for file in found:
        if file.fault:
            raise JobError(f"{path}: {_shown(file.name)}: {file.fault}; the bag is refused, nothing was unpacked")
    files = [(file, named) for file in found if (named := _NAME.fullmatch(file.name)) is not None]
    if len({named["top"] for _, named in files}) != 1:
        raise JobError(f"{path}: holds no bag, or more than one; give the file that hissway pack wrote")
    if (total := sum(file.size for file, _ in files)) > limits.total_bytes:
        raise JobError(f"{path}: {total} bytes unpacked; a job's bag has at most {limits.total_bytes}; refused")
    # Before the first byte: a disk that fills up half way would take the jobs beside it along.
    if total + ROOM_LEFT_BYTES > (free := shutil.disk_usage(into).free):
        raise JobError(f"{path}: needs {total} bytes and {into} has {free} free; make room and try again")
    for file, named in files:
        with file.opened() as source:
            _copy(path, source, file.name, file.size, into / BAG / named["inside"])
    return into / BAG


class _Bounded(io.BufferedReader):
    """A zip of which no piece is read that is larger than its list of files may be, whatever it says of that list."""

    def __init__(self, path: Path, most_bytes: int) -> None:
        super().__init__(io.FileIO(path))
        self._most_bytes = most_bytes

    def read(self, size: int | None = -1, /) -> bytes:
        if size is not None and size > self._most_bytes:
            raise zipfile.BadZipFile(f"its list of files has {size} bytes, at most {self._most_bytes} are read")
        return super().read(size)


def _name_fault(info: zipfile.ZipInfo, names: dict[str, str]) -> str:
    name = info.orig_filename
    if not info.filename:
        return "a file without a name"
    if name.startswith(("/", "\\")) or re.match(r"[A-Za-z]:", name):
        return "an absolute path"
    if ".." in re.split(r"[/\\]", name):
        return "a path that climbs out of the bag"
    # The library ends a name at a zero byte and turns other slashes round: then others would unpack another name.
    if name != info.filename or not name.isprintable() or "\\" in name:
        return "a name with characters that trick some systems"
    if (twin := names.get(_folded(name))) is not None:
        return "a name that stands there twice" if twin == name else f"a name that some systems take for {_shown(twin)}"
    if not stray(name) and (_FOLDER if info.is_dir() else _NAME).fullmatch(name) is None:
        return "a file that a job's bag does not hold"
    return ""


def _sort_fault(info: zipfile.ZipInfo) -> str:
    mode = info.external_attr >> 16
    sort = stat.S_IFMT(mode)
    if sort == stat.S_IFLNK:
        return "a link"
    if sort not in (0, stat.S_IFREG, stat.S_IFDIR) or ((sort == stat.S_IFDIR) != info.is_dir() and sort):
        return "a device or other thing that is not a file"
    if info.flag_bits & 0x1:
        return "locked with a password"
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        return "packed in a way that bags of ours are not"
    return ""


def _size_fault(info: zipfile.ZipInfo, limits: Limits) -> str:
    found = _NAME.fullmatch(info.filename)
    if found is None:
        return "" if info.file_size == 0 or stray(info.filename) else "a folder with content"
    if why := _too_large(info.filename, info.file_size, limits):
        return why
    if info.file_size > RATIO_FREE_BYTES and info.file_size > limits.ratio * max(info.compress_size, 1):
        return f"packed {info.file_size / max(info.compress_size, 1):.0f} to 1; more than {limits.ratio:g} is a trap"
    return ""


def _too_large(name: str, size: int, limits: Limits) -> str:
    """Why a file of a bag cannot be of this size; empty where it can."""
    found = _NAME.fullmatch(name)
    if found is None:
        return ""
    if found["clip"] and size < LEAST_CLIP_BYTES:
        return f"{size} bytes; no sound file is as short"
    most = limits.clip_bytes if found["clip"] else limits.journal_bytes if found["journal"] else limits.tag_bytes
    return f"{size} bytes unpacked; at most {most}" if size > most else ""


def _copy(path: Path, source: IO[bytes] | io.FileIO, name: str, size: int, to: Path) -> None:
    """One file, in pieces; it can become no longer than was said of it before."""
    to.parent.mkdir(parents=True, exist_ok=True)
    left = size
    with to.open("xb") as target:
        # One byte more than was said: a file that is longer shows it without being unpacked.
        while piece := source.read(min(CHUNK_BYTES, left + 1)):
            left -= len(piece)
            if left < 0:
                break
            target.write(piece)
        target.flush()
        os.fsync(target.fileno())
    if left:
        raise JobError(f"{path}: {_shown(name)}: is {'longer' if left < 0 else 'shorter'} than the zip says; refused")


def _folded(name: str) -> str:
    """A name as systems see it that do not tell upper from lower case, or ways to write an accent, apart."""
    return unicodedata.normalize("NFKC", name.rstrip("/")).casefold()


def _shown(name: str) -> str:
    return ascii(name if len(name) <= 80 else name[:77] + "...")
