"""A bag from a stranger: looked at before anything is written, unpacked in a stream within limits, or refused."""

import io
import os
import re
import shutil
import stat
import struct
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
        return _taken(bag, _lying_open(bag), into, limits)


def _zipped(archive: zipfile.ZipFile, limits: Limits) -> Iterator[_File]:
    for info in archive.infolist():
        # As it stands in the zip: the library cuts a name at a zero byte and turns slashes round.
        yield _File(info.orig_filename, info.file_size, _sort_fault(info, limits), partial(archive.open, info))


def _lying_open(bag: Path) -> Iterator[_File]:
    for file in sorted(bag.rglob("*")):
        name, folder = file.relative_to(bag).as_posix(), file.is_dir()
        # Of the link, not of what it leads to: that may be a device, or endless.
        size = 0 if folder else file.lstat().st_size
        fault = "a link" if file.is_symlink() else ""
        yield _File(f"{name}/" if folder else name, size, fault, partial(io.FileIO, file))


def _taken(path: Path, files_in: Iterator[_File], into: Path, limits: Limits) -> Path:
    """Write every file of a bag into its place; before that the first thing that is not right refuses it whole."""
    found = list(islice(files_in, limits.entries + 1))
    if len(found) > limits.entries:
        raise JobError(f"{path}: more than {limits.entries} files; a job's bag has no more; refused")
    for file in found:
        if not stray(file.name) and (fault := file.fault or _fault(file, limits)):
            raise JobError(f"{path}: {_shown(file.name)}: {fault}; the bag is refused, nothing was unpacked")
    files = [(file, named) for file in found if (named := _NAME.fullmatch(file.name)) is not None]
    if len({named["top"] for _, named in files}) != 1:
        raise JobError(f"{path}: holds no bag, or more than one; give the file that hissway pack wrote")
    if len({named["inside"] for _, named in files}) < len(files):
        raise JobError(f"{path}: a name stands there twice; the bag is refused, nothing was unpacked")
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


def _sort_fault(info: zipfile.ZipInfo, limits: Limits) -> str:
    mode = info.external_attr >> 16
    sort = stat.S_IFMT(mode)
    if sort == stat.S_IFLNK:
        return "a link"
    if sort not in (0, stat.S_IFDIR if info.orig_filename.endswith("/") else stat.S_IFREG):
        return "a device or other thing that is not a file"
    if info.flag_bits & 0x1:
        return "locked with a password"
    if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        return "packed in a way that bags of ours are not"
    ratio = info.file_size / max(info.compress_size, 1)
    if info.file_size > RATIO_FREE_BYTES and ratio > limits.ratio:
        return f"packed {ratio:.0f} to 1; more than {limits.ratio:g} is a trap"
    return ""


def _fault(file: _File, limits: Limits) -> str:
    """Why a file of this name and size is none of a bag's; empty where it may be."""
    named = _NAME.fullmatch(file.name)
    if named is None:
        return "" if _FOLDER.fullmatch(file.name) and not file.size else "a file that a job's bag does not hold"
    if named["clip"] and file.size < LEAST_CLIP_BYTES:
        return f"{file.size} bytes; no sound file is as short"
    most = limits.clip_bytes if named["clip"] else limits.journal_bytes if named["journal"] else limits.tag_bytes
    return f"{file.size} bytes unpacked; at most {most}" if file.size > most else ""


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


def _shown(name: str) -> str:
    return ascii(name if len(name) <= 80 else name[:77] + "...")
