"""Drills that are kept: sets of rounds with known truth, shipped or the shop's own, each one sealed file.

A file is a first line ``hissway.drill/2``, a second of open particulars (JSON: title, level, how many rounds), and the
rounds sealed under a key: clips, facts and truths, so that neither names nor sizes nor order tell one round's truth.
"""

import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path

import msgspec

from listen.audio.files import read_clip
from listen.audio.write import write_clip
from listen.durable import make_folders, read_file, whole_file
from listen.errors import LabError, refusal
from listen.lab.learners import drills_dir
from listen.lab.shipped import DRILLS, recordings_dir
from listen.lab.simulator.render import TakeKey
from listen.lab.simulator.scene import RoundSpec
from listen.lab.training import seal
from listen.lab.training.held import Held, bare
from listen.rounds.model import Facts
from listen.same_fields import same_fields
from listen.signal.clip import Clip
from listen.trade.points import Kind, PathId

SCHEMA = "hissway.drill/2"
SUFFIX = ".drill"
LEVELS = ("beginner", "intermediate", "trap", "own")
"""Of a set, from easy to hard; ``own`` is the shop's."""
MOST_BYTES = 1_000_000_000


class DrillSet(msgspec.Struct, frozen=True, kw_only=True):
    """What is open of a set: nothing of it tells a truth."""

    schema: str = SCHEMA
    id: str
    title: str
    level: str = "own"
    about: str = ""
    simulated: bool = False
    generator: str = ""
    rounds: int
    sealed_with: str = ""
    file: str = ""
    """Where it lies; filled in when read."""


class _Sealed(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    truth: tuple[PathId, ...]
    focus: tuple[str, ...] = ()
    gave_away: str = ""
    facts: Facts = Facts()
    spec: RoundSpec | None = None
    clips: tuple[tuple[str, Kind, int, bytes], ...]
    """Point, kind, order and the sound as FLAC."""


def _flac(clip: Clip, room: Path) -> bytes:
    path = room / "clip.flac"
    write_clip(path, bare(clip))
    return path.read_bytes()


def write_drill(
    drill: DrillSet,
    rounds: Sequence[Callable[[], Held]],
    file: Path,
    key: bytes,
    progress: Callable[[int], None] | None = None,
    nonce: bytes | None = None,
) -> DrillSet:
    """Make each round, and write the set whole or not at all into ``file`` (new).

    Raises LabError: the file exists or cannot be written."""
    if file.exists():
        raise LabError(f"{file}: is there already; choose another title or file, or remove it")
    inside = []
    with tempfile.TemporaryDirectory() as room:
        for number, make in enumerate(rounds, 1):
            held = make()
            clips = tuple((p, k, n, _flac(c, Path(room))) for (p, k, n), c in held.clips.items())
            paths = tuple(map(PathId, held.truth))
            inside.append(
                _Sealed(**same_fields(held, "id", "focus", "gave_away", "facts", "spec"), truth=paths, clips=clips)
            )
            if progress:
                progress(number)
    drill = msgspec.structs.replace(drill, rounds=len(inside), sealed_with=seal.fingerprint(key), file="")
    head = SCHEMA.encode() + b"\n" + msgspec.json.encode(drill) + b"\n"
    # No names, no times: the order inside is that of random names.
    body = msgspec.msgpack.encode(sorted(inside, key=lambda r: r.id))
    with refusal(LabError, f"{file}: cannot be written", "free some room, or choose another place with -o"):
        make_folders(file.parent)
        with whole_file(file) as out:
            out.write(head + seal.seal(body, head, key, nonce))
    return msgspec.structs.replace(drill, file=str(file))


def _halves(path: Path) -> tuple[DrillSet, bytes, bytes]:
    """What is open, the open bytes, the sealed bytes."""
    try:
        data = read_file(path, min(path.stat().st_size, MOST_BYTES))
    except FileNotFoundError:
        raise LabError(f"{path}: there is no such drill") from None
    except OSError as error:
        raise LabError(f"{path}: cannot be read ({error.strerror or error})") from error
    # Filled up: what is no drill may have no line at all.
    form, line, rest = (*data.split(b"\n", 2), b"", b"")[:3]
    if form != SCHEMA.encode():
        raise LabError(f"{path}: is no drill of form {SCHEMA}; make it anew")
    try:
        drill = msgspec.json.decode(line, type=DrillSet)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
        raise LabError(f"{path}: {error}; make the drill anew") from None
    if drill.rounds < 1:
        raise LabError(f"{path}: names no rounds; make the drill anew")
    return msgspec.structs.replace(drill, file=str(path)), form + b"\n" + line + b"\n", rest


def read_drill(path: Path) -> DrillSet:
    """What is open of a set. Raises LabError: no drill there, or a broken one."""
    return _halves(path)[0]


class OpenDrill:
    """The rounds of a set, unsealed in memory."""

    def __init__(self, drill: DrillSet, root: Path) -> None:
        path = Path(drill.file)
        self.drill, head, body = _halves(path)
        shipped = self.drill.sealed_with == seal.fingerprint(seal.SHIPPED_KEY)
        key = seal.SHIPPED_KEY if shipped else seal.lab_key(root)
        if (data := seal.unseal(body, head, key)) is None:
            if self.drill.sealed_with != seal.fingerprint(key):
                raise LabError(f"{path}: was sealed with another lab's key; HISSWAY_LAB_KEY says where that one lies")
            raise LabError(f"{path}: was changed after it was sealed; take it from a backup, or make it anew")
        try:
            rounds = msgspec.msgpack.decode(data, type=tuple[_Sealed, ...])
        except (msgspec.DecodeError, UnicodeDecodeError) as error:
            raise LabError(f"{path}: {error}; made by another version, make it anew") from None
        self._rounds = {r.id: r for r in rounds}

    @property
    def ids(self) -> tuple[str, ...]:
        """Names of its rounds; nothing follows from them."""
        return tuple(self._rounds)

    def held(self, identifier: str) -> Held:
        """One round, ready to be heard. Raises LabError: no such round."""
        if (one := self._rounds.get(identifier)) is None:
            raise LabError(f"{self.drill.file}: round {identifier!r} of this session is gone; start the drill anew")
        clips: dict[TakeKey, Clip] = {}
        with tempfile.TemporaryDirectory() as room:  # its names tell nothing: one file, written over again
            path = Path(room) / "clip.flac"
            for point, kind, order, flac in one.clips:
                path.write_bytes(flac)
                clips[point, kind, order] = read_clip(path)
        return Held(
            **same_fields(one, "id", "facts", "focus", "gave_away", "spec"),
            clips=clips,
            truth=tuple(map(str, one.truth)),
        )


def shipped_drills() -> tuple[DrillSet, ...]:
    """The sets that come with the program, easy ones first."""
    found = [read_drill(path) for path in sorted((recordings_dir() / DRILLS).glob(f"*{SUFFIX}"))]
    return tuple(sorted(found, key=lambda d: (*(level != d.level for level in LEVELS), d.id)))


def own_drills(root: Path) -> tuple[DrillSet, ...]:
    """The shop's own sets, by title; one that cannot be read is passed over."""
    found = []
    for path in sorted(drills_dir(root).glob(f"*{SUFFIX}")):
        try:
            found.append(read_drill(path))
        except LabError:
            continue
    return tuple(sorted(found, key=lambda d: (d.title.casefold(), d.id)))


def list_drills(root: Path) -> tuple[DrillSet, ...]:
    return shipped_drills() + own_drills(root)


def find_drill(root: Path, name: str) -> DrillSet:
    """A set by its identifier. Raises LabError: none of that name; the message lists those there are."""
    every = {drill.id: drill for drill in list_drills(root)}
    if name not in every:
        raise LabError(f"no drill {name!r}; known: {' '.join(every)}")
    return every[name]
