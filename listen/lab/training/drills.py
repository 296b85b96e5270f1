"""Drills: sets of rounds with known truth, shipped or the shop's own, on disk.

A set is a folder with ``drill.json`` and one loose round a sub-folder, its truth in ``truth.json``.
"""

from __future__ import annotations

import errno
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import msgspec

from listen.errors import LabError
from listen.lab.folders import drills_dir
from listen.trade.points import PathId

SCHEMA = "hissway.drill/1"
FILE = "drill.json"
TRUTH = "truth.json"
LEVELS = ("beginner", "intermediate", "trap", "own")
"""Of a set, from easy to hard; ``own`` is the shop's."""


class DrillItem(msgspec.Struct, frozen=True, kw_only=True):
    """One round of a set, without its truth."""

    id: str
    """Name of its folder in the set."""
    focus: tuple[str, ...] = ()
    """What it trains: tags such as ``cross-talk``; shown with the truth, not before."""
    gave_away: str = ""
    """One or two sentences: what gives it away; shown with the truth."""


class DrillSet(msgspec.Struct, frozen=True, kw_only=True):
    """A set of rounds to call."""

    schema: str = SCHEMA
    id: str
    title: str
    level: str = "own"
    about: str = ""
    simulated: bool = False
    seed: int | None = None
    generator: str = ""
    items: tuple[DrillItem, ...] = ()
    folder: str = ""
    """Where it lies; filled in when read."""

    def item_folder(self, item: DrillItem) -> Path:
        """Folder of one round."""
        return Path(self.folder) / item.id


class ItemTruth(msgspec.Struct, frozen=True, kw_only=True):
    """The part of a truth file that a drill needs."""

    paths: tuple[PathId, ...]
    simulated: bool = False
    text: str = ""
    """What a teardown showed, for rounds of real jobs."""


def read_drill(folder: Path) -> DrillSet:
    """Read a set.

    Raises
    ------
    LabError
        No set there, a broken ``drill.json``, or no rounds in it.
    """
    path = folder / FILE
    try:
        drill = msgspec.json.decode(path.read_bytes(), type=DrillSet)
    except FileNotFoundError:
        raise LabError(f"{folder}: holds no {FILE}; give the folder of a drill") from None
    except OSError as error:
        raise LabError(f"{path}: cannot be read ({error.strerror or error})") from error
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise LabError(f"{path}: {error}; correct it or make the drill anew") from None
    if drill.schema != SCHEMA:
        raise LabError(f"{path}: form {drill.schema!r}; this version reads {SCHEMA}")
    if not drill.items:
        raise LabError(f"{path}: names no rounds; make the drill anew")
    if bad := [i.id for i in drill.items if not i.id or Path(i.id).name != i.id or i.id.startswith(".")]:
        raise LabError(f"{path}: {bad[0]!r} is not the name of a folder in it; correct it")
    return msgspec.structs.replace(drill, folder=str(folder))


def read_truth(folder: Path) -> ItemTruth:
    """Truth of one round of a set.

    Raises
    ------
    LabError
        Missing or broken.
    """
    path = folder / TRUTH
    try:
        truth = msgspec.json.decode(path.read_bytes(), type=ItemTruth)
    except OSError as error:
        raise LabError(f"{path}: cannot be read ({error.strerror or error}); this round cannot be scored") from error
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise LabError(f"{path}: {error}; this round cannot be scored") from None
    if not truth.paths:
        raise LabError(f'{path}: names no path; write ["none"] for a sound cylinder')
    return truth


@contextmanager
def new_set(folder: Path) -> Iterator[None]:
    """A new folder to write a set into; half a set is removed again where it fails.

    Raises
    ------
    LabError
        The folder exists or cannot be written.
    """
    if folder.exists():
        raise LabError(f"{folder}: is there already; choose another title or folder, or remove it")
    try:
        folder.mkdir(parents=True)
        yield
    except BaseException as error:
        shutil.rmtree(folder, ignore_errors=True)
        if isinstance(error, OSError):
            advice = "free some room" if error.errno == errno.ENOSPC else "choose another place with -o"
            raise LabError(f"{folder}: cannot be written ({error.strerror or error}); {advice}") from error
        raise


def write_drill(drill: DrillSet, folder: Path) -> DrillSet:
    """Write ``drill.json`` of a set whose rounds lie in ``folder``; gives the set as :func:`read_drill` would."""
    data = msgspec.json.format(msgspec.json.encode(msgspec.structs.replace(drill, folder="")), indent=1)
    (folder / FILE).write_bytes(data + b"\n")
    return msgspec.structs.replace(drill, folder=str(folder))


def shipped_drills() -> tuple[DrillSet, ...]:
    """The sets that come with the program, easy ones first."""
    from listen.lab.shipped import DRILLS, recordings_dir

    found = [read_drill(path.parent) for path in sorted((recordings_dir() / DRILLS).glob(f"*/{FILE}"))]
    return tuple(sorted(found, key=lambda d: (_level(d), d.id)))


def _level(drill: DrillSet) -> int:
    return LEVELS.index(drill.level) if drill.level in LEVELS else len(LEVELS)


def own_drills(root: Path) -> tuple[DrillSet, ...]:
    """The shop's own sets, by title; one that cannot be read is passed over."""
    found = []
    for path in sorted(drills_dir(root).glob(f"*/{FILE}")):
        try:
            found.append(read_drill(path.parent))
        except LabError:
            continue
    return tuple(sorted(found, key=lambda d: (d.title.casefold(), d.id)))


def list_drills(root: Path) -> tuple[DrillSet, ...]:
    """All sets: shipped, then own."""
    return shipped_drills() + own_drills(root)


def find_drill(root: Path, name: str) -> DrillSet:
    """A set by identifier, title or folder.

    Raises
    ------
    LabError
        None of that name; the message lists those there are.
    """
    every = list_drills(root)
    for drill in every:
        if name.casefold() in (drill.id.casefold(), drill.title.casefold()):
            return drill
    if (Path(name) / FILE).is_file():
        return read_drill(Path(name))
    raise LabError(f"no drill {name!r}; known: {' '.join(d.id for d in every)}, or give a drill's folder")
