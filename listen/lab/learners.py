"""Where the lab keeps what it knows: learners, one folder each, deletable with all that is known of them, and append-
only files of one JSON object a line."""

import os
import secrets
import shutil
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeVar

import msgspec

from listen.durable import make_folders, stored, sync_folder, whole_file
from listen.errors import LabError, refusal
from listen.own_place import own_place
from listen.plain_name import plain_name

FILE = "learner.json"
MAX_NAME = 60
MAX_BYTES = 100_000


class Learner(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    name: str
    created: str


def create_learner(root: Path, name: str) -> Learner:
    """Take a learner in. Raises LabError: no name, too long, taken already, or the folder cannot be written."""
    name = " ".join(name.encode("utf-8", "replace").decode().split())  # JSON takes no half characters
    if not name:
        raise LabError("a learner needs a name; a first name or a nickname will do")
    if len(name) > MAX_NAME:
        raise LabError(f"the name has {len(name)} characters; at most {MAX_NAME} are kept, shorten it")
    if any(other.name.casefold() == name.casefold() for other in list_learners(root)):
        raise LabError(f"there is a learner called {name!r} already; choose that one or another name")
    id = "-".join(filter(None, (plain_name(name, 30), secrets.token_hex(2))))
    learner = Learner(id=id, name=name, created=datetime.now(UTC).isoformat(timespec="seconds"))
    folder = learner_dir(root, learner)
    with refusal(LabError, f"{folder}: cannot be written", "choose another folder"):
        make_folders(folder)
        with whole_file(folder / FILE) as file:
            file.write(msgspec.json.encode(learner) + b"\n")
    return learner


def list_learners(root: Path) -> tuple[Learner, ...]:
    """All learners by name; a folder that is not one is passed over."""
    kept = ((file.parent.name, stored(file, Learner, MAX_BYTES)) for file in learners_dir(root).glob(f"*/{FILE}"))
    # The folder's own name counts: a copied or renamed folder must not point at another's data.
    found = (msgspec.structs.replace(learner, id=folder) for folder, learner in kept if learner is not None)
    return tuple(sorted(found, key=lambda who: (who.name.casefold(), who.id)))


def find_learner(root: Path, name: str) -> Learner:
    """A learner by name or identifier. Raises LabError: nobody of that name; the message lists who is there."""
    everyone = list_learners(root)
    for learner in everyone:
        if name.casefold() in (learner.name.casefold(), learner.id):
            return learner
    known = ", ".join(who.name for who in everyone) or "nobody yet"
    raise LabError(f"no learner called {name!r}; known here: {known}")


def learner_dir(root: Path, learner: Learner) -> Path:
    return learners_dir(root) / learner.id


def delete_learner(root: Path, learner: Learner) -> None:
    """Remove a learner and all their sessions and thresholds from this machine.

    Raises LabError: something could not be removed."""
    folder = learner_dir(root, learner)
    with refusal(LabError, f"{folder}: could not be removed whole", "remove it by hand"), suppress(FileNotFoundError):
        shutil.rmtree(folder)


def lab_root(option: str | Path | None = None) -> Path:
    """Folder of the lab: the option, else ``HISSWAY_LAB``, else the platform's user data folder.

    Raises UsageError: as :func:`listen.own_place.own_place`."""
    return own_place("lab", "HISSWAY_LAB", option)


def learners_dir(root: Path) -> Path:
    return root / "learners"


def drills_dir(root: Path) -> Path:
    return root / "drills"


T = TypeVar("T", bound=msgspec.Struct)


def append_record(path: Path, record: msgspec.Struct) -> None:
    """Add a record; it and the file's name are on the disk when this returns. A torn end left by a crash is cut first.

    Raises LabError: the disk is full or the folder cannot be written."""
    line = msgspec.json.encode(record) + b"\n"
    with refusal(LabError, f"{path}: cannot be written", "free some room and try again"):
        make_folders(path.parent)
        new = not path.exists()
        with path.open("ab+") as file:
            file.seek(0)
            if (data := file.read()) and not data.endswith(b"\n"):
                file.truncate(data.rfind(b"\n") + 1)
            file.write(line)
            file.flush()
            os.fsync(file.fileno())
        if new:
            sync_folder(path.parent)


def read_records(path: Path, record: type[T]) -> list[T]:
    """Records of a file; empty where there is none. A torn end is left out.

    Raises LabError: the file cannot be read, or a line before the last is damaged."""
    lines: list[bytes] = []
    with refusal(LabError, f"{path}: cannot be read"), suppress(FileNotFoundError):
        lines = path.read_bytes().split(b"\n")
    found: list[T] = []
    for number, line in enumerate(lines[:-1], 1):
        try:
            found.append(msgspec.json.decode(line, type=record))
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
            raise LabError(f"{path}: line {number} is damaged ({error}); remove that line to use the rest") from error
    return found
