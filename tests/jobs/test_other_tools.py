"""Protects bags on their way: zipped again by another tool, unpacked by hand, looked into by a system."""

from __future__ import annotations

import shutil
import struct
import time
import zipfile
from pathlib import Path

import pytest

from listen.durable import sha256_of
from listen.errors import JobError
from listen.jobs.exchange.pack import pack
from listen.jobs.exchange.unpack import unpack
from listen.jobs.exchange.verify import verify_path
from listen.jobs.exchange.zip_guard import Limits
from listen.jobs.folder.chain import JOURNAL
from tests.jobs.shop import QUICK, small_job


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return small_job(tmp_path / "here")


@pytest.fixture
def bag(job: Path, tmp_path: Path) -> Path:
    """The bag of the job, unpacked by another program."""
    pack(job, tmp_path / "sent.zip")
    with zipfile.ZipFile(tmp_path / "sent.zip") as archive:
        archive.extractall(tmp_path / "by hand")
    return next((tmp_path / "by hand").iterdir())


def arrives(what: Path, job: Path, root: Path) -> None:
    done = unpack(what, root)
    assert done.how == "new"
    assert (done.folder / JOURNAL).read_bytes() == (job / JOURNAL).read_bytes()
    assert sorted(p.name for p in (done.folder / "clips").iterdir()) == sorted(
        p.name for p in (job / "clips").iterdir()
    )
    assert verify_path(what, QUICK).ok


def test_a_bag_says_the_version_it_is_made_to(bag: Path) -> None:
    assert (bag / "bagit.txt").read_text() == "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"


def zipped(bag: Path, to: Path, top: str) -> Path:
    """As another tool zips a folder: deflated, folders as entries, its own names beside."""
    with zipfile.ZipFile(to, "w", zipfile.ZIP_DEFLATED) as archive:
        for file in sorted(bag.rglob("*")):
            archive.write(file, f"{top}{file.relative_to(bag).as_posix()}")
        archive.writestr(f"__MACOSX/{top}._bagit.txt", b"attributes")
        archive.writestr(f"{top}data/.DS_Store", b"window")
    return to


def test_zipped_in_the_form_for_large_zips(
    bag: Path, job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Some tools write it always, with no number left in the usual place; it is held to the same limits."""
    monkeypatch.setattr(zipfile, "ZIP_FILECOUNT_LIMIT", 3)
    again = zipped(bag, tmp_path / "again.zip", "bag/")
    monkeypatch.undo()
    data = bytearray(again.read_bytes())
    struct.pack_into("<2H2L", data, data.rindex(b"PK\x05\x06") + 8, 0xFFFF, 0xFFFF, 0xFFFFFFFF, 0xFFFFFFFF)
    again.write_bytes(data)
    arrives(again, job, tmp_path / "there")
    with pytest.raises(JobError, match=r"more than 7 files"):
        unpack(again, tmp_path / "else", Limits(entries=7))


@pytest.mark.parametrize("top", ["Bench engine (2), für Ida/", ""])
def test_zipped_again_by_another_tool(bag: Path, job: Path, tmp_path: Path, top: str) -> None:
    arrives(zipped(bag, tmp_path / "again.zip", top), job, tmp_path / "there")


@pytest.mark.parametrize("inside", [True, False])
def test_an_open_bag_and_what_windows_leave_in_it(bag: Path, job: Path, tmp_path: Path, inside: bool) -> None:
    for name in (".DS_Store", "data/Thumbs.db", "data/clips/desktop.ini", "data/clips/._x.flac"):
        (bag / name).write_bytes(b"left")
    arrives(bag if inside else bag.parent, job, tmp_path / "there")
    assert bag.is_dir(), "what was taken in is still there"


@pytest.mark.parametrize("text", ["BagIt-Version: 9.9\nTag-File-Character-Encoding: KLINGON\n", "no bag at all\n"])
def test_a_bag_that_is_whole_by_its_lists_alone_is_none(bag: Path, text: str) -> None:
    """Version and encoding are the standard's, though every hash fits what was written."""
    (bag / "bagit.txt").write_text(text, newline="\n")
    lists = bag / "tagmanifest-sha256.txt"
    lines = [line for line in lists.read_text().splitlines() if not line.endswith("bagit.txt")]
    lists.write_text("\n".join([*lines, f"{sha256_of(bag / 'bagit.txt')} bagit.txt"]) + "\n", newline="\n")
    report = verify_path(bag, QUICK)
    assert not report.ok
    assert "RFC 8493" in str(report)


def test_an_open_bag_is_held_to_the_same(bag: Path, tmp_path: Path) -> None:
    clip = next((bag / "data" / "clips").iterdir())
    cases = {
        "a link": lambda b: (b / "data" / "clips" / "ab.flac").symlink_to(clip),
        "does not hold": lambda b: (b / "data" / "run.sh").write_text("x"),
        "as short": lambda b: (b / "data" / "clips" / "ab.flac").write_bytes(b""),
        "not listed|not in manifest": lambda b: (b / "data" / "clips" / "ab.flac").write_bytes(b"x" * 50),
        "hash is not|validation failed": lambda b: (b / "data" / JOURNAL).write_bytes(b"x"),
    }
    for words, spoil in cases.items():
        copy = tmp_path / "copy"
        shutil.copytree(bag, copy)
        spoil(copy)
        with pytest.raises(JobError, match=words):
            unpack(copy, tmp_path / "there")
        shutil.rmtree(copy)
    assert not any(p for p in (tmp_path / "there").iterdir())
    with pytest.raises(JobError, match="holds no bag"):
        unpack(tmp_path / "here", tmp_path / "there")


def test_nineteen_thousand_empty_clips_are_refused_at_once(tmp_path: Path) -> None:
    from tests.patience import in_time

    many = tmp_path / "many.zip"
    with zipfile.ZipFile(many, "w") as archive:
        for n in range(19_000):
            archive.writestr(f"b/data/clips/{n:x}.flac", b"")

    def refuse() -> float:  # in seconds of the processor: a busy machine is no slower at it
        began = time.process_time()
        with pytest.raises(JobError, match="more than 5000 files"):
            unpack(many, tmp_path / "there")
        return time.process_time() - began

    in_time(refuse, 1.0)


@pytest.mark.parametrize(
    ("was", "is_"),
    [
        ("Hissway-Head: ", "Hissway-Head: 0"),
        ("External-Identifier: ", "External-Identifier: 0"),
        ("Bag-Software-Agent", "Source-Organization: Another Shop\nBag-Software-Agent"),
        ("Hissway-Events: ", "Hissway-Events: 1"),
    ],
)
def test_what_a_bag_says_of_its_job_must_be_so(bag: Path, tmp_path: Path, was: str, is_: str) -> None:
    """Made whole again with all sums: what would be read beside a printed head is not the journal's."""
    info = bag / "bag-info.txt"
    info.write_text(info.read_text().replace(was, is_, 1))
    sums = [f"{sha256_of(bag / name)} {name}\n" for name in ("bagit.txt", "bag-info.txt", "manifest-sha256.txt")]
    (bag / "tagmanifest-sha256.txt").write_text("".join(sums))
    (found,) = verify_path(bag, QUICK).mismatches
    assert found.name == "bag-info.txt" and "and its journal does not" in found.text
    with pytest.raises(JobError, match=r"bag-info.txt: says .* nothing was unpacked"):
        unpack(bag, tmp_path / "there")
