"""A loose round: a folder of sound files named ``<point>-<kind>[-N].<wav|flac>`` and an optional ``round.json``."""

from __future__ import annotations

import codecs
import re
import stat
from pathlib import Path

import msgspec

from listen.errors import RoundError
from listen.rounds.model import Facts, Round, Take
from listen.trade.points import Kind, point, walking_order

SUFFIXES = (".wav", ".flac")
_NAME = re.compile(rf"(?P<point>[a-z0-9-]+?)-(?P<kind>{'|'.join(Kind)})(?:-(?P<n>\d{{1,4}}))?")
MAX_FACTS_BYTES = 1_000_000
"""A round.json larger than this is not ours; it is refused before it is read."""


def read_folder(folder: Path, name: str | None = None) -> Round:
    """List the takes of a loose round; the sound itself is read later.

    Raises
    ------
    RoundError
        Not a readable folder, a sound file whose name we do not know, no clips, or a broken ``round.json``.
    """
    name = str(folder) if name is None else name
    try:
        entries = sorted(p for p in folder.iterdir() if not p.name.startswith("."))
    except FileNotFoundError:
        raise RoundError(f"{name}: no such folder; give the folder that holds the round's clips") from None
    except NotADirectoryError:
        raise RoundError(f"{name}: is a file; give the folder that holds the round's clips") from None
    except OSError as e:
        raise RoundError(f"{name}: cannot be read ({e.strerror}); check its permissions") from e
    takes = tuple(take_named(p) for p in entries if p.suffix.lower() in SUFFIXES)
    if not takes:
        raise RoundError(f"{name}: no sound files; expected names like intake-quiet-1.flac and intake-air-1.flac")
    order = sorted(takes, key=lambda t: (walking_order(t.point), t.order, list(Kind).index(t.kind)))
    return Round(name, tuple(order), read_facts(folder / "round.json"))


def take_named(path: Path) -> Take:
    """The take that a file's name says it is.

    Raises
    ------
    RoundError
        The name does not say point and kind.
    """
    m = _NAME.fullmatch(path.stem.lower())
    if m is None:
        raise RoundError(f"{path}: the name does not say point and kind; expected <point>-<{'|'.join(Kind)}>[-N]")
    try:
        point_id = point(m["point"]).id
    except RoundError as e:
        raise RoundError(f"{path}: {e}") from None
    return Take(point_id, Kind(m["kind"]), int(m["n"] or 1), path)


def read_facts(path: Path) -> Facts:
    """Read ``round.json``; a missing file means no facts.

    Raises
    ------
    RoundError
        Unreadable, not a file, not JSON, or a value of the wrong type or out of range; the message names the key.
    """
    try:
        facts = msgspec.json.decode(_facts_bytes(path), type=Facts)
    except FileNotFoundError:
        return Facts()
    except OSError as e:
        raise RoundError(f"{path}: cannot be read ({e.strerror}); check its permissions") from e
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as e:
        raise RoundError(f"{path}: {e}; correct it or remove it") from None
    order = facts.firing_order or ()
    if len(set(order)) < len(order):
        raise RoundError(f"{path}: firing_order {'-'.join(map(str, order))} names a cylinder twice; correct it")
    return facts


def stray_keys(path: Path) -> tuple[str, ...]:
    """Keys of a ``round.json`` that :func:`read_facts` takes, but that no reading has: misspelt, or another program's.

    Raises
    ------
    OSError
        The file cannot be read.
    """
    try:
        found = msgspec.json.decode(_facts_bytes(path), type=dict[str, msgspec.Raw])
    except FileNotFoundError:
        return ()
    return tuple(key for key in found if key not in Facts.__struct_fields__)


def _facts_bytes(path: Path) -> bytes:
    found = path.stat()
    if not stat.S_ISREG(found.st_mode):
        raise RoundError(f"{path}: cannot be read: it is not a file; correct it or remove it")
    if found.st_size > MAX_FACTS_BYTES:
        raise RoundError(f"{path}: larger than {MAX_FACTS_BYTES} bytes; this is not a round.json")
    return path.read_bytes().removeprefix(codecs.BOM_UTF8)
