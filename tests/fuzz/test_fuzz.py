"""A seeded slice of the fuzzer passes in CI, its faults are told apart, and what it once found stays mended."""

from __future__ import annotations

import random
import subprocess
import sys
import zipfile
from pathlib import Path

import numpy as np
import pytest

from listen.errors import ClipError, HisswayError, JobError, JournalBroken, LabError, RoundError
from listen.jobs.exchange.unpack import unpack
from listen.jobs.folder.chain import read_chain
from listen.jobs.folder.store import open_job
from listen.jobs.to_round import to_round
from listen.lab.training.book import books
from listen.lab.training.drills import read_drill
from listen.signal.clip import Clip
from listen.signal.quality import check_clip
from listen.signal.spectra import spectra
from tests.fuzz import batches
from tests.fuzz.batches import fuzz
from tests.fuzz.mutate import mutate_journal, read_events, relink
from tests.fuzz.seeds import ROUND, seed_job
from tests.fuzz.targets import TARGETS
from tests.fuzz.worker import fault_of, make_case

CASES_EACH = 20
"""Of each door; ``python -m tests fuzz`` feeds the thousands."""
FEW = 2
"""Of those that take a hundred times as long."""


QUICK = [target for target in TARGETS if TARGETS[target].share == 1.0]
SLOW = [target for target in TARGETS if target not in QUICK]


@pytest.mark.parametrize(("doors", "each"), [(QUICK, CASES_EACH), (SLOW, FEW)], ids=["quick", "slow"])
def test_a_slice_of_hostile_input_at_every_door(doors: list[str], each: int) -> None:
    """The quick ones through one process, the slow ones through another: its start costs more than their cases."""
    found = fuzz(doors, each * len(doors), seed=20)
    assert found.faults == ()
    assert found.cases == dict.fromkeys(doors, each)


@pytest.mark.parametrize("target", TARGETS)
def test_unchanged_seeds_are_taken_so_that_the_fuzzer_reaches_what_lies_behind_the_door(
    target: str, tmp_path: Path
) -> None:
    (tmp_path / "seeding").mkdir()
    for n, seed in enumerate(TARGETS[target].seeds(tmp_path / "seeding")):
        room = tmp_path / str(n)
        room.mkdir()
        try:
            TARGETS[target].feed(seed, room)
        except HisswayError as refused:
            pytest.fail(f"a valid {target} was refused: {refused}")


def test_the_same_number_is_the_same_case(tmp_path: Path) -> None:
    seeds = TARGETS["events"].seeds(tmp_path)
    assert make_case("events", 1, 7, seeds) == make_case("events", 1, 7, seeds)
    assert make_case("events", 1, 7, seeds) != make_case("events", 1, 8, seeds)


def test_changed_events_are_chained_so_that_only_their_meaning_is_wrong(tmp_path: Path) -> None:
    journal = (seed_job(tmp_path / "job") / "journal.jsonl").read_bytes()
    assert read_chain(relink(read_events(journal))).broken == ""
    whole = sum(read_chain(mutate_journal(random.Random(n), journal)).broken == "" for n in range(60))
    assert whole > 20  # else the fuzzer would only ever test the hashes


def feeding(monkeypatch: pytest.MonkeyPatch, error: BaseException | None) -> None:
    def feed(_data: bytes, _room: Path) -> None:
        if error is not None:
            raise error

    monkeypatch.setitem(TARGETS, "part", TARGETS["part"]._replace(feed=feed))


@pytest.mark.parametrize(
    ("error", "expected"),
    [
        (None, ""),
        (ClipError("a.wav: empty file; record it again"), ""),
        (ClipError(""), "words"),
        (ClipError("a name\nof two lines with a bell \x07"), ""),
        (ClipError("x" * 5000), ""),
        (ClipError("Traceback (most recent call last)"), "words"),
        (ValueError("boom"), "traceback: ValueError"),
        (RecursionError("deep"), "traceback: RecursionError"),
        (MemoryError(), "memory"),
    ],
)
def test_faults_are_told_apart(
    error: BaseException | None, expected: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    feeding(monkeypatch, error)
    fault = fault_of("part", b"", tmp_path)
    assert fault.startswith(expected)
    assert bool(fault) == bool(expected)


def test_a_slow_case_is_a_fault(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    feeding(monkeypatch, None)
    monkeypatch.setitem(TARGETS, "part", TARGETS["part"]._replace(seconds=-1.0))
    assert fault_of("part", b"", tmp_path).startswith("slow")


STUB = "import json, sys, time\ndef say(**w): print(json.dumps(w), flush=True)\n"


@pytest.mark.parametrize(
    ("program", "expected"),
    [
        ("say(case=0); say(case=1); say(done=True, peak_mb=40)", []),
        ("say(case=0); say(fault='memory: 900 MB', of=0)", ["memory: 900 MB"]),
        ("say(case=0); sys.exit('gone')", ["died: the process ended with code 1: gone"]),
        ("say(case=0); time.sleep(60)", ["hang: nothing for 0 s"]),
    ],
)
def test_a_process_that_dies_or_hangs_is_a_fault(
    program: str, expected: list[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(batches, "SILENCE_S", 0.3 if "sleep" in program else 60.0)
    with (tmp_path / "errors").open("w+b") as errors:
        worker = subprocess.Popen([sys.executable, "-c", STUB + program], stdout=subprocess.PIPE, stderr=errors)
        _, _, faults = batches._listen(worker, batches._lines_of(worker), "part", 0, errors)
        worker.kill()
        worker.wait()
    assert [f.what for f in faults] == expected


def test_a_journal_without_one_whole_event_is_not_written_to(tmp_path: Path) -> None:
    (tmp_path / "journal.jsonl").write_bytes(b'{"id":"torn at once')
    with pytest.raises(JournalBroken, match="no whole event"):
        open_job(tmp_path)
    assert (tmp_path / "journal.jsonl").read_bytes() == b'{"id":"torn at once'


def test_a_clip_of_an_unknown_kind_is_told_by_its_id(tmp_path: Path) -> None:
    folder = seed_job(tmp_path / "job")
    events = read_events((folder / "journal.jsonl").read_bytes())
    clip = next(e["payload"] for e in events if e["kind"] == "clip-kept")
    clip["clip_kind"] = "loud"
    (folder / "journal.jsonl").write_bytes(relink(events))
    job = open_job(folder, write=False).job
    with pytest.raises(RoundError, match=r"aaaaaaaaaaa1.*'loud'"):
        to_round(job, ROUND, folder)


def test_a_zip_whose_tables_disagree_is_refused_in_few_words(tmp_path: Path) -> None:
    path = tmp_path / "long.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("bag/bagit.txt", b"x")
    data = bytearray(path.read_bytes())
    data[26:28] = (30_000).to_bytes(2, "little")  # the file's own header claims a name of 30,000 bytes
    path.write_bytes(data[:60] + b"\x07" * 30_000 + data[60:])
    with pytest.raises(JobError) as refused:
        unpack(path, tmp_path / "jobs")
    assert len(str(refused.value)) < 500
    assert str(refused.value).isprintable()


@pytest.mark.parametrize("largest", [3e38, 1e15])
def test_samples_that_no_recorder_writes_are_refused(largest: float) -> None:
    with pytest.raises(ClipError, match="times full scale"):
        Clip.of([0.0, largest, 0.1], 48_000, name="odd.wav")


def test_integers_written_into_a_floating_point_file_are_measured() -> None:
    clip = Clip.of(np.random.default_rng(1).integers(-(2**31), 2**31, 96_000), 48_000)
    assert [f.flag for f in check_clip(clip, spectra(clip))] == []


def test_a_text_of_brackets_a_thousand_deep_is_refused(tmp_path: Path) -> None:
    deep = '{"x":' + "[" * 100_000 + "\n"
    (tmp_path / "x.drill").write_text("hissway.drill/2\n" + deep)
    with pytest.raises(LabError):
        read_drill(tmp_path / "x.drill")
    (tmp_path / "x.jsonl").write_text(deep)
    with pytest.raises(LabError):
        list(books(tmp_path))
