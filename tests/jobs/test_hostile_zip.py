"""Protects the machine that unpacks: hostile zips are refused with the reason, nothing is written outside or left."""

from __future__ import annotations

import io
import os
import random
import stat
import struct
import subprocess
import sys
import zipfile
import zlib
from pathlib import Path

import msgspec
import pytest

from listen.errors import JobError
from listen.jobs.exchange.pack import pack
from listen.jobs.exchange.unpack import unpack
from listen.jobs.exchange.zip_guard import LIMITS, unzip_bag
from listen.jobs.folder.chain import JOURNAL, read_chain
from tests.jobs.shop import small_job

Entries = list[tuple[zipfile.ZipInfo, bytes]]


@pytest.fixture(scope="module")
def good_zip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("good")
    pack(small_job(root / "jobs"), root / "good.zip")
    return root / "good.zip"


@pytest.fixture
def entries(good_zip: Path) -> Entries:
    """The good zip's content, to be spoilt."""
    with zipfile.ZipFile(good_zip) as archive:
        return [(info, archive.read(info)) for info in archive.infolist()]


def write(path: Path, entries: Entries) -> Path:
    with zipfile.ZipFile(path, "w") as archive:
        for info, data in entries:
            archive.writestr(info, data)
    return path


def entry(name: str, mode: int = 0o100644, method: int = zipfile.ZIP_DEFLATED) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name)
    info.filename = name  # as given, also where the constructor would tidy it
    info.external_attr = mode << 16
    info.compress_type = method
    return info


def refused(path: Path, tmp_path: Path, words: str) -> None:
    """Unpacking fails in words, and the only thing in the world that changed is nothing."""
    root = tmp_path / "world" / "jobs"
    root.mkdir(parents=True, exist_ok=True)
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(JobError, match=words) as told:
        unpack(path, root)
    assert "\n" not in str(told.value)
    assert sorted(tmp_path.rglob("*")) == before


def top_of(entries: Entries) -> str:
    return entries[0][0].filename.split("/")[0]


TRICKS = {
    "": "does not hold",
    "../evil.txt": "does not hold",
    "TOP/../../evil.txt": "does not hold",
    "TOP/data/clips/../../../../evil.flac": "does not hold",
    "..\\evil.txt": "does not hold",
    "/etc/evil": "does not hold",
    "\\evil": "does not hold",
    "C:/evil.txt": "does not hold",
    "C:evil.txt": "does not hold",
    "TOP/data\\clips\\evil.flac": "does not hold",
    "TOP/data/clips/e\u202evil.flac": "does not hold",
    "TOP/data/clips/evil\x07.flac": "does not hold",
    "TOP/data/clips/EVIL.flac": "does not hold",
    "TOP/data/clips/deep/evil.flac": "does not hold",
    "TOP/data/evil.sh": "does not hold",
    "TOP/fetch.txt": "does not hold",
    "TOP/data/clips/.flac": "does not hold",
    "OTHER/bagit.txt": "more than one",
    "TOP/data/journal.jsonl": "stands there twice",
    "TOP/DATA/journal.jsonl": "does not hold",
    "TOP/data/journal.json\uff4c": "does not hold",
    "TOP/data/clips/" + "a" * 300 + ".flac": "does not hold",
}


@pytest.mark.filterwarnings("ignore:Duplicate name")
@pytest.mark.parametrize("name", TRICKS)
def test_tricks_with_names(tmp_path: Path, entries: Entries, name: str) -> None:
    """Traversal, absolute, drive, backslash, odd characters, other files, duplicates, case and width clashes."""
    real = name.replace("TOP", top_of(entries))
    refused(write(tmp_path / "x.zip", [*entries, (entry(real), b"evil")]), tmp_path, TRICKS[name])


@pytest.mark.parametrize(
    ("mode", "words"),
    [
        (stat.S_IFLNK | 0o777, "a link"),
        (stat.S_IFCHR | 0o666, "a device"),
        (stat.S_IFBLK | 0o666, "a device"),
        (stat.S_IFIFO | 0o666, "a device"),
        (stat.S_IFSOCK | 0o666, "a device"),
    ],
)
def test_links_and_devices(tmp_path: Path, entries: Entries, mode: int, words: str) -> None:
    """Whatever name they carry, also in the place of a file that belongs there."""
    name = f"{top_of(entries)}/data/clips/abc.flac"
    refused(write(tmp_path / "x.zip", [*entries, (entry(name, mode), b"/etc/passwd")]), tmp_path, words)


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_packing_methods_that_bombs_are_made_of(tmp_path: Path, entries: Entries, method: int) -> None:
    """bzip2 and LZMA pack zeros more than 1:10000; no bag of ours uses them."""
    name = f"{top_of(entries)}/data/clips/abc.flac"
    bomb = entry(name, method=method)
    path = write(tmp_path / "x.zip", [*entries, (bomb, bytes(30_000_000))])
    assert 30_000_000 / bomb.compress_size > 5_000
    refused(path, tmp_path, "packed in a way")


def test_a_password_is_refused(tmp_path: Path, entries: Entries) -> None:
    """Bit 0 of the flags: locked."""
    data = bytearray(write(tmp_path / "x.zip", entries).read_bytes())
    at = data.find(b"PK\x01\x02")
    data[at + 8] |= 1
    (tmp_path / "x.zip").write_bytes(data)
    refused(tmp_path / "x.zip", tmp_path, "password")


def test_a_bomb_is_refused_before_anything_is_unpacked(tmp_path: Path, entries: Entries) -> None:
    """1:1000 in one file; more of them than any disk holds; more files than any job has."""
    top = top_of(entries)
    big = (entry(f"{top}/data/clips/abc.flac"), bytes(50_000_000))
    refused(write(tmp_path / "x.zip", [*entries, big]), tmp_path, "a trap")
    many = [(entry(f"{top}/data/clips/c{n}.flac"), b"") for n in range(LIMITS.entries + 1)]
    refused(write(tmp_path / "y.zip", [*entries, *many]), tmp_path, "more than 5000 files|at most 5000")


def test_sizes_beyond_the_limits(tmp_path: Path, good_zip: Path) -> None:
    """Each limit by itself."""
    for limit in ("total_bytes", "clip_bytes", "journal_bytes", "tag_bytes", "entries", "directory_bytes"):
        tight = msgspec.structs.replace(LIMITS, **{limit: 5})
        with pytest.raises(JobError, match=r"at most|more than"):
            unpack(good_zip, tmp_path / "jobs", tight)
    assert list((tmp_path / "jobs").iterdir()) == []


def lying_bomb(entries: Entries, says: int, real: int) -> bytes:
    """A zip whose clip says it is ``says`` bytes long and holds a stream that unpacks to ``real``."""
    top = top_of(entries)
    buffer = io.BytesIO()
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    stream = b"".join(packer.compress(bytes(1 << 20)) for _ in range(real >> 20)) + packer.flush()
    info = entry(f"{top}/data/clips/abc.flac", method=zipfile.ZIP_STORED)
    with zipfile.ZipFile(buffer, "w") as archive:
        for other, data in entries:
            archive.writestr(other, data)
        archive.writestr(info, stream)
    data = bytearray(buffer.getvalue())
    name = info.filename.encode()
    local, central = data.find(name) - 30, data.rfind(name) - 46
    struct.pack_into("<H", data, local + 8, zipfile.ZIP_DEFLATED)
    struct.pack_into("<H", data, central + 10, zipfile.ZIP_DEFLATED)
    struct.pack_into("<L", data, local + 22, says)
    struct.pack_into("<L", data, central + 24, says)
    return bytes(data)


@pytest.mark.skipif(sys.platform != "linux", reason="resource limits are set and measured the Linux way")
def test_a_lying_bomb_fills_neither_memory_nor_disk(tmp_path: Path, entries: Entries) -> None:
    """200 MB behind a file that says 90 kB: refused within 10 MB of disk and little more memory than a good zip."""
    (tmp_path / "bomb.zip").write_bytes(lying_bomb(entries, 90_000, 200 << 20))
    program = (
        "import resource, sys\n"
        "from pathlib import Path\n"
        "from listen.errors import JobError\n"
        "import listen.jobs.exchange.unpack as u\n"
        "import bagit, cryptography.hazmat.primitives.asymmetric.ed25519\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (10_000_000, 10_000_000))\n"
        "before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "try:\n    u.unpack(Path(sys.argv[1]), Path(sys.argv[2]))\n"
        "except JobError as e:\n    print(e)\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)\n"
    )
    here = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[2])}
    done = subprocess.run(
        [sys.executable, "-c", program, tmp_path / "bomb.zip", tmp_path / "jobs"],
        env=here,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    said, grown_kb = done.stdout.splitlines()
    assert "damaged" in said or "longer" in said
    assert int(grown_kb) < 40_000
    assert list((tmp_path / "jobs").iterdir()) == []


@pytest.mark.parametrize("data", [b"", b"PK", b"not a zip at all" * 99, b"PK\x05\x06" + bytes(18)])
def test_what_is_no_zip(tmp_path: Path, data: bytes) -> None:
    """Empty, short, text, an empty archive."""
    (tmp_path / "x.zip").write_bytes(data)
    refused(tmp_path / "x.zip", tmp_path, "not a zip|no bag")


def test_random_damage_to_the_zip_never_tracebacks_nor_changes_the_job(tmp_path: Path, good_zip: Path) -> None:
    """Bytes overwritten, cut, put in: refused in words, or the very same job (only a date was hit)."""
    rng = random.Random(5)
    good = good_zip.read_bytes()
    whole = unpack(good_zip, tmp_path / "whole").folder
    expected = {p.name: p.read_bytes() for p in whole.rglob("*") if p.is_file()}
    refusals = 0
    for n in range(200):
        data = bytearray(good)
        for _ in range(rng.randint(1, 4)):
            at = rng.randrange(len(data))
            match rng.randrange(3):
                case 0:
                    data[at] = rng.randrange(256)
                case 1:
                    del data[at : at + rng.randint(1, 50)]
                case _:
                    data[at:at] = rng.randbytes(rng.randint(1, 50))
        (tmp_path / "x.zip").write_bytes(data)
        root = tmp_path / f"jobs{n}"
        try:
            folder = unpack(tmp_path / "x.zip", root).folder
        except JobError:
            refusals += 1
            assert list(root.iterdir()) == []
        else:
            assert {p.name: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == expected
    assert refusals > 100


def rebag(entries: Entries, tmp_path: Path, change: dict[str, bytes]) -> Path:
    """A bag whose own hashes are right, around changed payload files."""
    import bagit

    folder = tmp_path / "forge" / top_of(entries)
    for info, data in entries:
        _, _, inside = info.filename.partition("/data/")
        if inside:
            (folder / inside).parent.mkdir(parents=True, exist_ok=True)
            (folder / inside).write_bytes(data)
    for name, data in change.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
    bagit.make_bag(str(folder), checksums=["sha256"])
    files = sorted(p for p in folder.rglob("*") if p.is_file())
    forged = [(entry(f"{folder.name}/{f.relative_to(folder).as_posix()}"), f.read_bytes()) for f in files]
    path = write(tmp_path / "forged.zip", forged)
    import shutil

    shutil.rmtree(tmp_path / "forge")
    return path


def test_a_well_made_bag_around_a_bad_job_is_refused(tmp_path: Path, entries: Entries) -> None:
    """Broken chain, torn end, another form, a changed clip, a clip nobody speaks of, no journal at all."""
    from listen.jobs.folder.journal import sha256

    files = {info.filename.partition("/data/")[2]: data for info, data in entries}
    journal = files[JOURNAL]
    lines = journal.splitlines(keepends=True)
    clip = next(name for name in files if name.startswith("clips/"))
    other = journal.splitlines()[0].replace(b"hissway.job/1", b"hissway.job/9")
    body = other[: other.rfind(b',"sum"')] + b"}"
    other = body[:-1] + f',"sum":"{sha256(body)}"}}\n'.encode()
    cases: list[tuple[dict[str, bytes], str]] = [
        ({JOURNAL: journal.replace(b'"value":27', b'"value":72')}, "from event 4 on"),
        ({JOURNAL: b"".join(lines[:2] + lines[3:])}, "from event 3 on"),
        ({JOURNAL: journal[:-20]}, "whole event"),
        ({JOURNAL: b""}, "whole event"),
        ({JOURNAL: other}, "another form|must open a job of form"),
        ({clip: b"not this one".ljust(99)}, "hash differs"),
        ({"clips/abc.flac": b"x" * 99}, "no event speaks"),
        ({"clips/abc.flac": b""}, "no sound file is as short"),
    ]
    for change, words in cases:
        refused(rebag(entries, tmp_path, change), tmp_path, words)
    assert not read_chain(journal).broken


def test_a_bag_that_does_not_hold_is_refused_though_the_job_in_it_does(tmp_path: Path, entries: Entries) -> None:
    """Its description was changed: journal and clips fit each other, but the bag is not the one that was packed."""
    changed = [(i, data + b"Contact-Name: x\n" if i.filename.endswith("bag-info.txt") else data) for i, data in entries]
    refused(write(tmp_path / "x.zip", changed), tmp_path, "bag-info.txt")


def test_nothing_is_written_through_a_link_that_waits_in_the_way(tmp_path: Path, good_zip: Path) -> None:
    """A link with the job's name pointing elsewhere: the job goes beside it."""
    victim = tmp_path / "victim"
    victim.mkdir()
    first = unpack(good_zip, tmp_path / "one").folder
    root = tmp_path / "two"
    root.mkdir()
    (root / first.name).symlink_to(victim, target_is_directory=True)
    done = unpack(good_zip, root)
    assert done.folder.name == f"{first.name}-2"
    assert list(victim.iterdir()) == []


def test_the_guard_never_replaces_a_file(tmp_path: Path, good_zip: Path) -> None:
    """Unpacking twice into the same place fails instead of writing over."""
    unzip_bag(good_zip, tmp_path)
    with pytest.raises(JobError):
        unzip_bag(good_zip, tmp_path)
