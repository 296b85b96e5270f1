"""A log of what this program asks of the disk: writes, syncs and names, in order, as a stand-in for a syscall trace.

While a :class:`PowerLog` watches, the functions through which the program writes below one folder are replaced by ones
that write and note it. Promises made to the user are noted between them.
"""

from __future__ import annotations

import builtins
import io
import os
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from typing import Any, NamedTuple

ROOT = 0
"""Number of the folder watched."""


class Op(NamedTuple):
    """One thing asked of the disk, or one promise made to the user.

    ``what`` is ``write`` (file, offset, data), ``truncate`` (file, size), ``sync`` (file), ``sync-folder`` (folder),
    ``link`` (folder, name, file), ``folder`` (folder, name, folder), ``unlink`` (folder, name),
    ``rename`` (folder, name, new folder, new name) or ``promise`` (text). Files and folders are numbers.
    """

    what: str
    args: tuple[Any, ...]


class PowerLog:
    """Notes every write below ``root``."""

    def __init__(self, root: Path) -> None:
        self.root = root.resolve()
        self.ops: list[Op] = []
        self._numbers = count()
        self._ids: dict[tuple[int, int], int] = {}
        self._files: dict[int, int] = {}
        self._appending: set[int] = set()
        self._real = {name: getattr(os, name) for name in ("open", "write", "fsync", "ftruncate", "close", "mkdir")}
        self._real |= {name: getattr(os, name) for name in ("replace", "rename", "unlink", "remove")}
        self._real_open: Callable[..., Any] = io.open
        self._new_id(self.root.stat())

    def promise(self, text: str) -> None:
        """Note that the user was told something."""
        self.note("promise", text)

    def note(self, what: str, *args: Any) -> None:
        """Add one line to the log."""
        self.ops.append(Op(what, args))

    @contextmanager
    def watching(self) -> Iterator[PowerLog]:
        """Replace the functions, and put them back."""
        watched = {
            "open": self._open,
            "write": self._write,
            "fsync": self._fsync,
            "ftruncate": self._ftruncate,
            "close": self._close,
            "mkdir": self._mkdir,
            "replace": self._replace,
            "rename": self._replace,
            "unlink": self._unlink,
            "remove": self._unlink,
        }
        for name, function in watched.items():
            setattr(os, name, function)
        io.open = builtins.open = self._io_open
        try:
            yield self
        finally:
            for name, function in self._real.items():
                setattr(os, name, function)
            io.open = builtins.open = self._real_open

    def opened(self, path: Path, fd: int, *, new: bool, flags: int) -> None:
        """Note that ``path`` was opened as ``fd``."""
        found = os.fstat(fd)
        number = self._new_id(found) if new else self._id(found)
        self._files[fd] = number
        (self._appending.add if flags & os.O_APPEND else self._appending.discard)(fd)
        if new:
            self.note("link", self._folder(path), path.name, number)
        elif flags & os.O_TRUNC:
            self.note("truncate", number, 0)

    def wrote(self, fd: int, what: str, *args: Any) -> None:
        """Note a change to an open file."""
        if fd in self._files:
            self.note(what, self._files[fd], *args)

    def forget(self, fd: int) -> None:
        """A file was closed."""
        self._files.pop(fd, None)

    def _new_id(self, found: os.stat_result) -> int:
        """A fresh number: the system may give the inode of a file that is gone to the next one."""
        number = self._ids[found.st_dev, found.st_ino] = next(self._numbers)
        return number

    def _id(self, found: os.stat_result) -> int:
        known = self._ids.get((found.st_dev, found.st_ino))
        return self._new_id(found) if known is None else known

    def _inside(self, path: Any) -> Path | None:
        if isinstance(path, int):
            return None
        whole = Path(os.path.abspath(os.fsdecode(path)))  # noqa: PTH100  links are not followed
        return whole if whole == self.root or self.root in whole.parents else None

    def _folder(self, path: Path) -> int:
        return self._id(path.parent.stat())

    def _open(self, path: Any, flags: int, mode: int = 0o777, **more: Any) -> int:
        inside = self._inside(path)
        new = inside is not None and not os.path.lexists(inside)
        fd: int = self._real["open"](path, flags, mode, **more)
        if inside is not None:
            self.opened(inside, fd, new=new, flags=flags)
        return fd

    def _write(self, fd: int, data: Any) -> int:
        at = 0
        if fd in self._files:
            at = os.fstat(fd).st_size if fd in self._appending else os.lseek(fd, 0, os.SEEK_CUR)
        n: int = self._real["write"](fd, data)
        self.wrote(fd, "write", at, bytes(data[:n]))
        return n

    def _fsync(self, fd: int) -> None:
        self._real["fsync"](fd)
        self.wrote(fd, "sync-folder" if stat.S_ISDIR(os.fstat(fd).st_mode) else "sync")

    def _ftruncate(self, fd: int, size: int) -> None:
        self._real["ftruncate"](fd, size)
        self.wrote(fd, "truncate", size)

    def _close(self, fd: int) -> None:
        self.forget(fd)
        self._real["close"](fd)

    def _mkdir(self, path: Any, mode: int = 0o777, **more: Any) -> None:
        self._real["mkdir"](path, mode, **more)
        if (inside := self._inside(path)) is not None:
            self.note("folder", self._folder(inside), inside.name, self._new_id(inside.stat()))

    def _replace(self, src: Any, dst: Any, **more: Any) -> None:
        self._real["replace"](src, dst, **more)
        a, b = self._inside(src), self._inside(dst)
        if a is not None and b is not None:
            self.note("rename", self._folder(a), a.name, self._folder(b), b.name)

    def _unlink(self, path: Any, **more: Any) -> None:
        self._real["unlink"](path, **more)
        if (inside := self._inside(path)) is not None and not more:
            self.note("unlink", self._folder(inside), inside.name)

    def _io_open(self, file: Any, mode: str = "r", buffering: int = -1, *rest: Any, **more: Any) -> Any:
        inside = file if isinstance(file, int) and file in self._files else self._inside(file)
        if inside is None or "b" not in mode or not set(mode) & set("wax+"):
            return self._real_open(file, mode, buffering, *rest, **more)
        raw = _LoggedFile(self, inside, mode.replace("b", ""))
        if buffering == 0:
            return raw
        return io.BufferedRandom(raw) if "+" in mode else io.BufferedWriter(raw)


class _LoggedFile(io.FileIO):
    """A file opened by name, or by a descriptor that is known, whose writes are noted."""

    def __init__(self, log: PowerLog, file: Path | int, mode: str) -> None:
        new = isinstance(file, Path) and not os.path.lexists(file)
        self._log = log
        super().__init__(file, mode)
        if isinstance(file, Path):
            log.opened(file, self.fileno(), new=new, flags=os.O_TRUNC if "w" in mode else 0)

    def write(self, data: Any, /) -> int:
        """Write and note."""
        at = self.tell()
        n = super().write(data)
        self._log.wrote(self.fileno(), "write", at, bytes(memoryview(data).cast("B")[:n]))
        return n

    def truncate(self, size: int | None = None, /) -> int:
        """Shorten and note."""
        done = super().truncate(size)
        self._log.wrote(self.fileno(), "truncate", done)
        return done

    def close(self) -> None:
        """Close and forget."""
        if not self.closed:
            self._log.forget(self.fileno())
        super().close()
