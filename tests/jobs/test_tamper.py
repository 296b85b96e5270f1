"""Protects against silent change: hundreds of random changes to a packed or an open job, none goes unnoticed."""

from __future__ import annotations

import random
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from listen.errors import JobError
from listen.jobs import events as ev
from listen.jobs.exchange.keys import make_key
from listen.jobs.exchange.pack import pack
from listen.jobs.exchange.sign import sign_round
from listen.jobs.exchange.unpack import unpack
from listen.jobs.exchange.verification import Against
from listen.jobs.exchange.verify import verify_job, verify_path
from listen.jobs.exchange.verify_results import first_difference
from listen.jobs.folder.chain import JOURNAL
from listen.jobs.folder.store import open_job
from tests.jobs.shop import QUICK, quick_judge, small_job

BIT_FLIPS = 300
LINE_CHANGES = 160


@pytest.fixture(scope="module")
def signed_job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A judged, confirmed and signed job."""
    root = tmp_path_factory.mktemp("shop")
    folder = small_job(root / "jobs")
    with open_job(folder, actor="Bo") as opened:
        round_id = opened.job.rounds[0].id
        opened.append(ev.Confirmed(round_id=round_id, name="Bo"))
        sign_round(opened, round_id, name="Bo", key=make_key(root / "key.pem"))
    return folder


@pytest.fixture(scope="module")
def bag(signed_job: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same job as an open bag."""
    root = tmp_path_factory.mktemp("bag")
    pack(signed_job, root / "job.zip")
    with zipfile.ZipFile(root / "job.zip") as archive:
        archive.extractall(root)
    (folder,) = (p for p in root.iterdir() if p.is_dir())
    assert verify_path(folder, QUICK).ok
    return folder


def test_any_flipped_bit_in_any_file_of_the_bag_is_told_with_its_file(bag: Path) -> None:
    """Every file of the bag gets its share of single-bit changes; the file is named and unpacking would refuse."""
    rng = random.Random(11)
    files = sorted(p for p in bag.rglob("*") if p.is_file())
    assert len(files) == 4 + 1 + 4
    for n in range(BIT_FLIPS):
        file = files[n % len(files)]
        data = bytearray(file.read_bytes())
        at, bit = rng.randrange(len(data)), rng.randrange(8)
        data[at] ^= 1 << bit
        whole = file.read_bytes()
        file.write_bytes(data)
        try:
            found = verify_path(bag, Against(judge=None))
        except JobError as e:
            found, said = None, str(e)
        else:
            said = " ".join(f"{m.name} {m.text}" for m in found.mismatches)
        file.write_bytes(whole)
        name = file.relative_to(bag).as_posix()
        where = f"bit {bit} of byte {at} in {name}"
        assert found is None or not found.ok, f"unnoticed: {where}"
        assert name in said, f"{where} is not named: {said}"
    assert verify_path(bag, Against(judge=None)).ok, "the bag is as it was"


CHANGES: dict[str, Callable[[list[bytes], random.Random], tuple[list[bytes], int]]] = {}


def change(make: Callable[[list[bytes], random.Random], tuple[list[bytes], int]]) -> None:
    """List a way to change a journal: gives the lines, and the number of the first event that is not as it was."""
    CHANGES[make.__name__] = make


@change
def edit(lines: list[bytes], rng: random.Random) -> tuple[list[bytes], int]:
    i = rng.randrange(len(lines))
    at = rng.randrange(len(lines[i]) - 1)
    other = bytes([rng.choice([b for b in range(32, 127) if b != lines[i][at]])])
    return [*lines[:i], lines[i][:at] + other + lines[i][at + 1 :], *lines[i + 1 :]], i + 1


@change
def drop(lines: list[bytes], rng: random.Random) -> tuple[list[bytes], int]:
    i = rng.randrange(len(lines))
    return lines[:i] + lines[i + 1 :], i + 1


@change
def repeat(lines: list[bytes], rng: random.Random) -> tuple[list[bytes], int]:
    i = rng.randrange(len(lines))
    return lines[: i + 1] + lines[i:], i + 2


@change
def swap(lines: list[bytes], rng: random.Random) -> tuple[list[bytes], int]:
    i, j = sorted(rng.sample(range(len(lines)), 2))
    changed = list(lines)
    changed[i], changed[j] = lines[j], lines[i]
    return changed, i + 1


@change
def cut_short(lines: list[bytes], rng: random.Random) -> tuple[list[bytes], int]:
    keep = rng.randrange(1, len(lines))
    return lines[:keep], keep + 1


@change
def put_in(lines: list[bytes], rng: random.Random) -> tuple[list[bytes], int]:
    i = rng.randrange(len(lines) + 1)
    return [*lines[:i], b'{"id":"x","kind":"note-added"}\n', *lines[i:]], i + 1


@pytest.mark.parametrize("how", CHANGES)
def test_any_changed_journal_line_is_told_from_its_event_on(signed_job: Path, tmp_path: Path, how: str) -> None:
    """Edit, drop, repeat, swap, cut, put in: verify of the job folder names the first event that is not as it was."""
    folder = tmp_path / "job"
    shutil.copytree(signed_job, folder)
    lines = (folder / JOURNAL).read_bytes().splitlines(keepends=True)
    rng = random.Random(how)
    for _ in range(LINE_CHANGES // len(CHANGES) + 1):
        changed, first = CHANGES[how](lines, rng)
        (folder / JOURNAL).write_bytes(b"".join(changed))
        found = verify_job(folder, Against(judge=None))
        said = [m.text for m in found.mismatches if m.what == "journal"]
        assert said, f"{how} went unnoticed"
        assert any(f"event {first}" in text for text in said), f"{how}: event {first} is not named: {said}"


def test_a_journal_rewritten_with_a_new_chain_fails_at_signature_or_summary(signed_job: Path, tmp_path: Path) -> None:
    """Somebody recomputes every sum and hash after changing the loss: the key's signature no longer fits."""
    import msgspec

    from listen.jobs.folder.chain import read_chain
    from listen.jobs.folder.journal import GENESIS, write_line

    folder = tmp_path / "job"
    shutil.copytree(signed_job, folder)
    prev, forged = GENESIS, []
    for line in read_chain((folder / JOURNAL).read_bytes()).lines:
        e, payload = line.event, line.event.payload
        if isinstance(payload, ev.ReadingEntered) and payload.reading == "loss":
            payload = msgspec.structs.replace(payload, value=7, si=7.0)
        if isinstance(payload, ev.Signed):
            payload = msgspec.structs.replace(payload, head=prev)
        new = write_line(payload, prev=prev, actor=e.actor, time=e.time, id=e.id)
        prev = new.hash
        forged.append(new.raw + b"\n")
    (folder / JOURNAL).write_bytes(b"".join(forged))
    (folder / "job.json").unlink()
    found = verify_job(folder, QUICK)
    assert [m.what for m in found.mismatches if m.what == "signature"]
    assert [m.what for m in found.mismatches if m.what == "result"], "the stored result does not follow from 7 %"
    with pytest.raises(JobError, match="signature"):
        pack(folder, tmp_path / "forged.zip")
        unpack(tmp_path / "forged.zip", tmp_path / "victim")


def test_clip_files_missing_changed_or_put_in_are_told(signed_job: Path, tmp_path: Path) -> None:
    """Each by its name; a result that cannot be computed again is told too."""
    folder = tmp_path / "job"
    shutil.copytree(signed_job, folder)
    first, second, *_ = sorted((folder / "clips").iterdir())
    first.unlink()
    second.write_bytes(second.read_bytes() + b"\0")
    (folder / "clips" / "stranger.flac").write_bytes(b"x")
    found = verify_job(folder, QUICK)
    said = {m.name: m.text for m in found.mismatches if m.what == "clip"}
    assert "missing" in said[f"clips/{first.name}"]
    assert "hash differs" in said[f"clips/{second.name}"]
    assert "no event" in said["clips/stranger.flac"]


def test_a_stored_result_that_does_not_follow_from_its_clips_is_told(tmp_path: Path) -> None:
    """A verdict written into the journal by hand, with a chain that holds, is found by judging again."""
    import msgspec

    from listen.jobs.to_round import judged, to_round

    folder = small_job(tmp_path)
    with open_job(folder) as opened:
        round_id = opened.job.rounds[0].id
        good = quick_judge(to_round(opened.job, round_id, folder))
        verdict = msgspec.structs.replace(good.verdict, probability=good.verdict.probability + 0.01)
        opened.append(judged(opened.job, round_id, msgspec.structs.replace(good, verdict=verdict)))
    found = verify_job(folder, QUICK)
    (m,) = found.mismatches
    assert (m.what, found.results) == ("result", 2)
    assert "verdict.probability" in m.text


def test_the_real_judge_gives_the_stored_result_again_and_notices_another_clip(tmp_path: Path) -> None:
    """End to end with the program's own judge: same clips, same result; a changed fact under it, told."""
    from listen.rounds.evaluate import evaluate

    folder = small_job(tmp_path, seconds=1.0, judge=evaluate)
    found = verify_path(folder)
    assert found.ok, found.mismatches
    assert found.results == 1
    first, second = sorted((folder / "clips").iterdir())[:2]
    first.write_bytes(second.read_bytes())
    assert {m.what for m in verify_path(folder).mismatches} == {"clip", "result"}


@pytest.mark.parametrize(
    ("then", "now", "same"),
    [
        ({"a": [1.0, "93 %"]}, {"a": [1.001, "94 %"]}, True),
        ({"a": [1.0, "93 %"]}, {"a": [1.003, "93 %"]}, False),
        ("leaks 4.2 dB", "leaks 4.3 dB", True),
        ("leaks 4.2 dB", "leaks 4.4 dB", False),
        ("leaks 4.2 dB", "leaked 4.2 dB", False),
        ({"a": None}, {"a": 0.0}, False),
        ({"a": True}, {"a": 1.001}, False),
        ([1], [1, 2], False),
        ({"a": 1}, {"b": 1}, False),
    ],
)
def test_only_a_unit_of_the_last_digit_may_differ(then: object, now: object, same: bool) -> None:
    """Another machine's arithmetic may turn the last digit; anything more is a mismatch."""
    assert (first_difference(then, now) == "") is same


def test_a_spoilt_summary_is_told_and_harmless(signed_job: Path, tmp_path: Path) -> None:
    """job.json is derived: damaged or untrue it is told; missing it is no fault."""
    folder = tmp_path / "job"
    shutil.copytree(signed_job, folder)
    summary = folder / "job.json"
    for data in (b"{", summary.read_bytes().replace(b"Bench engine", b"Other engine")):
        summary.write_bytes(data)
        (m,) = verify_job(folder, Against(judge=None)).mismatches
        assert m.what == "summary"
    summary.unlink()
    assert verify_job(folder, Against(judge=None)).ok
