"""A loose round: a folder of sound files named ``<point>-<kind>[-N].<wav|flac>`` and an optional ``round.json``."""

import codecs
import re
import stat
from itertools import pairwise
from pathlib import Path
from typing import TypeVar

import msgspec

from listen.audio.files import SUFFIXES
from listen.audio.phone import PHONE_SUFFIXES
from listen.errors import RoundError
from listen.rounds.model import SWITCHED_KINDS, Facts, Round, Take, Taking
from listen.rounds.wrong_json import in_words
from listen.trade.points import Kind, point, walking_order

SOUNDS = (*SUFFIXES, *PHONE_SUFFIXES)
_NAME = re.compile(rf"(?P<point>[a-z0-9-]+?)-(?P<kind>{'|'.join(Kind)})(?:-(?P<n>\d{{1,4}}))?")
ALL = "all"
"""Stands for the point in the name of a file that holds several, a channel each."""
KNOWN_KEYS = Facts.__struct_fields__ + Taking.__struct_fields__
T = TypeVar("T", Facts, Taking, dict[str, msgspec.Raw])
MAX_FACTS_BYTES = 1_000_000
"""A round.json larger than this is not ours; it is refused before it is read."""


def read_folder(folder: Path, name: str | None = None) -> Round:
    """List the takes of a loose round; the sound itself is read later.

    Raises RoundError: not a readable folder, a sound file whose name we do not know, no clips, or a broken
    ``round.json``."""
    name = str(folder) if name is None else name
    try:
        # Hidden ones are the system's own: a Mac leaves ._intake-air-1.flac beside its like.
        entries = sorted(p for p in folder.iterdir() if not p.name.startswith("."))
    except FileNotFoundError:
        raise RoundError(f"{name}: no such folder; give the folder that holds the round's clips") from None
    except NotADirectoryError:
        raise RoundError(f"{name}: is a file; give the folder that holds the round's clips") from None
    except OSError as e:
        raise RoundError(f"{name}: cannot be read ({e.strerror}); check its permissions") from e
    sounds = [p for p in entries if p.suffix.lower() in SOUNDS]
    # Without sounds the folder is no round, and its round.json may be anybody's.
    taking = read_taking(folder / "round.json") if sounds else Taking()
    takes = [take for p in sounds for take in takes_named(p, taking)]
    if not takes:
        raise RoundError(f"{name}: no sound files; expected names like intake-quiet-1.flac and intake-air-1.flac")
    order = sorted(takes, key=lambda t: (walking_order(t.point), t.order, list(Kind).index(t.kind)))
    return Round(name, tuple(order), read_facts(folder / "round.json"))


def takes_named(path: Path, taking: Taking) -> tuple[Take, ...]:
    """The takes that a file's name says it holds: one, or one a channel of an ``all-`` file.

    Raises RoundError: the name does not say point and kind, channels are not named or wrongly, commanded times
    cannot be."""
    m = _NAME.fullmatch(path.stem.lower())
    if m is None:
        raise RoundError(f"{path}: the name does not say point and kind; expected <point>-<{'|'.join(Kind)}>[-N]")
    kind, order = Kind(m["kind"]), int(m["n"] or 1)
    on_s = _commanded(path, taking) if kind in SWITCHED_KINDS else ()
    if m["point"] == ALL:
        points = _channels(path, taking)
        return tuple(Take(p, kind, order, path, c, path.stem, on_s) for c, p in points)
    try:
        point_id = point(m["point"]).id
    except RoundError as e:
        raise RoundError(f"{path}: {e}") from None
    notes = taking.files.get(path.stem)
    together = "" if notes is None or not notes.together else f"together {notes.together}"
    return (Take(point_id, kind, order, path, together=together, on_s=on_s),)


def _channels(path: Path, taking: Taking) -> list[tuple[int, str]]:
    names = taking.channels_of(path.stem)
    if not names or not any(names):
        raise RoundError(
            f'{path}: holds several points; name its channels in round.json: "channels": ["intake", "tailpipe"]'
        )
    try:
        found = [(c, point(n).id) for c, n in enumerate(names) if n is not None]
    except RoundError as e:
        raise RoundError(f"{path}: channels in round.json: {e}") from None
    twice = sorted({p for _, p in found if sum(p == q for _, q in found) > 1})
    if twice:
        raise RoundError(f"{path}: channels in round.json name {' and '.join(twice)} twice; one channel is one point")
    return found


def _commanded(path: Path, taking: Taking) -> tuple[tuple[float, float], ...]:
    commanded = taking.commands(path.stem)
    on_s = commanded.on_s if commanded else ()
    flat = [t for pair in on_s for t in pair]
    if any(b <= a for a, b in pairwise(flat)):
        raise RoundError(
            f"{path}: switched on_s in round.json must rise: opened, shut, opened, shut, ... in seconds from the start"
        )
    return on_s


def read_taking(path: Path) -> Taking:
    """Read from ``round.json`` how the clips were taken; a missing file says nothing (errors as :func:`read_facts`)."""
    return _decoded(path, Taking) or Taking()


def read_facts(path: Path) -> Facts:
    """Read ``round.json``; a missing file means no facts.

    Raises RoundError: unreadable, not a file, not JSON, or a value of the wrong type or out of range; the message
    names the key."""
    facts = _decoded(path, Facts)
    if facts is None:
        return Facts()
    order = facts.firing_order or ()
    # Which valves of the others stand open is read from the order: a cylinder named twice would stand in two places.
    if len(set(order)) < len(order):
        raise RoundError(f"{path}: firing_order {'-'.join(map(str, order))} names a cylinder twice; correct it")
    return facts


def _decoded(path: Path, form: type[T]) -> T | None:
    try:
        return msgspec.json.decode(_facts_bytes(path), type=form)
    except FileNotFoundError:
        return None
    except OSError as e:
        raise RoundError(f"{path}: cannot be read ({e.strerror}); check its permissions") from e
    except UnicodeDecodeError as e:
        raise RoundError(f"{path}: byte {e.start} of a name is no UTF-8 text; correct it or remove it") from None
    except (msgspec.DecodeError, RecursionError) as e:
        raise RoundError(f"{path}: {in_words(e)}; correct it or remove it") from None


def stray_keys(path: Path) -> tuple[str, ...]:
    """Keys of a ``round.json`` that :func:`read_facts` takes, but that no reading has: misspelt, or another program's.

    Raises RoundError: as :func:`read_facts`."""
    found = _decoded(path, dict[str, msgspec.Raw]) or {}
    return tuple(key for key in found if key not in KNOWN_KEYS)


def _facts_bytes(path: Path) -> bytes:
    found = path.stat()
    # A pipe or a device of that name would keep the program waiting for ever.
    if not stat.S_ISREG(found.st_mode):
        raise RoundError(f"{path}: cannot be read: it is not a file; correct it or remove it")
    if found.st_size > MAX_FACTS_BYTES:
        raise RoundError(f"{path}: larger than {MAX_FACTS_BYTES} bytes; this is not a round.json")
    # Editors of Windows put a mark before the text, which JSON does not know.
    return path.read_bytes().removeprefix(codecs.BOM_UTF8)
