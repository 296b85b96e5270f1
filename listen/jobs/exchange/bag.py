"""A job as a BagIt bag (RFC 8493): made and checked with the BagIt library, and held to the letter besides."""

import logging
import re
from collections.abc import Iterator
from itertools import chain as chained
from pathlib import Path
from typing import Any

from listen.durable import sha256_of
from listen.errors import JobError
from listen.jobs.folder.chain import Chain
from listen.jobs.job import Job
from listen.jobs.to_round import program_version

TAG_FILES = ("bagit.txt", "bag-info.txt", "manifest-sha256.txt")
TAG_MANIFEST = "tagmanifest-sha256.txt"
VERSION = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
"""The version of RFC 8493; the library writes 0.97 and reads both."""
PASSING = frozenset({".DS_Store", "Thumbs.db", "desktop.ini"})
"""Files that systems leave in folders people look into."""
_LINE = re.compile(r"(?P<hash>[0-9a-f]{64})[ ][ *]?(?P<name>\S.*)")


def described(job: Job, chain: Chain) -> dict[str, str]:
    """What a bag says of its job; empty for nothing."""
    return {
        "Source-Organization": _one_line(job.shop),
        "External-Identifier": job.id,
        "Hissway-Head": chain.head,
        "Hissway-Events": str(len(chain.lines)),
    }


def untrue(bag: Path, job: Job, chain: Chain) -> tuple[str, ...]:
    """What a bag says of its job and is not so, a sentence each; what another tool left out is no untruth."""
    # RFC 8493 folds long values over lines that begin with a blank.
    text = re.sub(r"\r?\n[ \t]+", " ", (bag / "bag-info.txt").read_text("utf-8", "replace"))
    payload = [(bag / name).stat().st_size for name in _payload(bag)]
    true = described(job, chain) | {"Payload-Oxum": f"{sum(payload)}.{len(payload)}"}
    fields = [(name, value.strip()) for name, _, value in (line.partition(":") for line in text.splitlines())]
    return tuple(
        f"says {name}: {_one_line(value)!a}, and its journal does not"
        for name, value in fields
        if value != true.get(name, value)
    )


def make_bag(folder: Path, job: Job, chain: Chain) -> None:
    """Turn a folder of payload files into a bag, in place.

    Raises JobError: the library refuses; the message says why."""
    bagit = _library()
    info = {
        "External-Description": "A cylinder leakage test: journal and clips of one job.",
        "Bag-Software-Agent": f"hissway {program_version()}".strip(),
        **{name: value for name, value in described(job, chain).items() if value},
    }
    try:
        bag = bagit.make_bag(str(folder), info, checksums=["sha256"])
        # With LF on every system: its hash is made now and compared elsewhere.
        (folder / "bagit.txt").write_text(VERSION, encoding="utf-8", newline="\n")
        bag.save()  # the list of its own files with what was just written
    except (bagit.BagError, RuntimeError) as e:
        raise JobError(f"{folder}: cannot be made a bag: {e}") from e


def stray(name: str) -> bool:
    """Whether a file in a bag is none of it but what systems and packing tools leave there (a slash parts folders)."""
    *folders, last = name.rstrip("/").split("/")
    return last in PASSING or last.startswith("._") or "__MACOSX" in (*folders, last)


def open_bag(folder: Path) -> Path | None:
    """The bag lying open in a folder, or in the one folder in it, as unpacking tools leave it; None: there is none."""
    if (folder / "bagit.txt").is_file():
        return folder
    inside = [p for p in folder.glob("*/bagit.txt") if not stray(p.parent.name)] if folder.is_dir() else []
    return inside[0].parent if len(inside) == 1 else None


def bag_faults(folder: Path) -> tuple[tuple[str, str], ...]:
    """What is wrong with a bag: (file, why) each; empty for a bag that is whole and unchanged.

    Hashes by our own hand: the library passes letters of one in upper case, lines it skips and tag files nobody lists.
    """
    known = {*TAG_FILES, TAG_MANIFEST, "data"}
    strange = (p.name for p in folder.iterdir() if p.name not in known and not stray(p.name))
    faults = dict(
        chained(
            _manifest_faults(folder, "manifest-sha256.txt", _payload(folder)),
            _manifest_faults(folder, TAG_MANIFEST, list(TAG_FILES)),
            ((name, "a file that a job's bag does not hold") for name in strange),
        )
    ) or dict(_library_faults(folder))
    return tuple((_one_line(name), _one_line(why)) for name, why in faults.items())


def _library_faults(folder: Path) -> Iterator[tuple[str, str]]:
    """What the standard asks of a bag besides: version, encoding, counts."""
    bagit = _library()
    # What systems leave in folders would be a fault to the library; hashes have been held against the files already.
    if any(stray(p.relative_to(folder).as_posix()) for p in folder.rglob("*")):
        return
    try:
        bagit.Bag(str(folder)).validate(completeness_only=True)
    except (bagit.BagError, ValueError, TypeError, LookupError, OSError) as e:  # odd tag files make it raise anything
        yield "bag", f"is not as RFC 8493 has it: {e}"


def _library() -> Any:
    import bagit

    logging.getLogger("bagit").setLevel(logging.CRITICAL)  # it logs what it raises besides
    return bagit


def _payload(folder: Path) -> list[str]:
    files = sorted(p.relative_to(folder).as_posix() for p in (folder / "data").rglob("*") if p.is_file())
    return [name for name in files if not stray(name)]


def _manifest_faults(folder: Path, manifest: str, expected: list[str]) -> Iterator[tuple[str, str]]:
    try:
        # As bytes: reading as text would let other line ends pass for the ones that were hashed.
        text = (folder / manifest).read_bytes().decode()
    except (OSError, UnicodeDecodeError) as e:
        yield manifest, f"cannot be read: {e}"
        return
    listed: dict[str, str] = {}
    for n, line in enumerate(text.removesuffix("\n").split("\n"), 1):
        found = _LINE.fullmatch(line)
        if found is None or found["name"] in listed:
            yield manifest, f"line {n} is not a hash and a name, or names a file again"
            continue
        listed[found["name"]] = found["hash"]
    for name in sorted(listed.keys() | set(expected)):
        if name not in listed:
            yield name, f"is not listed in {manifest}"
        elif name not in expected:
            yield manifest, f"lists {name!a}, which is not there"
        elif not (folder / name).is_file():
            yield name, "is missing"
        elif sha256_of(folder / name) != listed[name]:
            yield name, f"is not the file that was packed: its hash is not the one in {manifest}"


def _one_line(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())[:500]
