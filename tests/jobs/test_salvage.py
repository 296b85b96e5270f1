"""Protects what a damaged job still holds: it comes back under its own words, in a job that says what is lost."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from listen.cli.main import main
from listen.errors import JobError, JournalBroken
from listen.jobs.exchange.salvage import salvage
from listen.jobs.exchange.verification import Against
from listen.jobs.exchange.verify import verify_job
from listen.jobs.folder.store import list_jobs, open_job

DEMO = Path(__file__).parents[2] / "recordings" / "demo" / "job"


@pytest.fixture
def damaged(tmp_path: Path) -> Path:
    """The demo with one bit flipped in line 3."""
    folder = tmp_path / "jobs" / "damaged"
    shutil.copytree(DEMO, folder)
    lines = (folder / "journal.jsonl").read_bytes().split(b"\n")
    lines[2] = lines[2][:40] + bytes([lines[2][40] ^ 1]) + lines[2][41:]
    (folder / "journal.jsonl").write_bytes(b"\n".join(lines))
    return folder


def test_one_flipped_bit_costs_one_event_and_no_clip(damaged: Path) -> None:
    with pytest.raises(JournalBroken):
        open_job(damaged)
    before = {p: p.read_bytes() for p in damaged.rglob("*") if p.is_file()}
    whole = open_job(DEMO, write=False)
    clips = {c.id for r in whole.job.rounds for c in r.clips}
    folder, told, whole_clips = salvage(damaged, damaged.parent)
    assert told.lines_lost == (3,) and whole_clips == len(clips) >= 30 and told.clips_missing == ()
    assert {p: p.read_bytes() for p in damaged.rglob("*") if p.is_file()} == before
    back = open_job(folder, write=False)
    assert {c.id for r in back.job.rounds for c in r.clips} == clips
    assert back.job.title == whole.job.title and back.job.id != whole.job.id
    assert {r.id: r.verdict is not None for r in back.job.rounds} == {
        r.id: r.verdict is not None for r in whole.job.rounds
    }
    events = {e.id: (e.time, e.actor, e.payload) for e in back.chain.events()}
    same = [e for e in whole.chain.events() if events.get(e.id) == (e.time, e.actor, e.payload)]
    assert len(same) == len(whole.chain.lines) - 2  # the damaged one, and the opening, which names the new job
    assert any("damaged job damaged" in t and "1 line(s) lost (3)" in t for t in back.job.troubles)
    assert verify_job(folder, Against(judge=None)).ok


def test_a_lost_opening_of_a_round_is_made_again_and_a_spoilt_clip_taken_back(damaged: Path) -> None:
    lines = (damaged / "journal.jsonl").read_bytes().split(b"\n")
    (at,) = [n for n, raw in enumerate(lines) if b'"kind":"round-opened"' in raw][:1]
    lines[at] = b"rubbish"
    (damaged / "journal.jsonl").write_bytes(b"\n".join(lines[1:]))  # the job's opening is gone as well
    clip = next((damaged / "clips").iterdir())
    clip.write_bytes(clip.read_bytes()[:-1])
    folder, told, _ = salvage(damaged, damaged.parent)
    assert told.clips_missing == (clip.stem,)
    back = open_job(folder, write=False).job
    rounds = {r.id: r.cylinder for r in open_job(DEMO, write=False).job.rounds}
    assert {r.id: r.cylinder for r in back.rounds} == rounds
    assert [c.id for r in back.rounds for c in r.clips if c.taken_back and "not the one" in c.reason] == [clip.stem]
    assert back.title == "damaged"


def test_the_command_names_the_new_folder(damaged: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--jobs", str(damaged.parent), "salvage", "damaged"]) == 0
    out, err = capsys.readouterr()
    assert Path(out.strip()).is_dir() and "whole: 45 clips" in err
    assert len(list_jobs(damaged.parent)) == 2


def test_what_holds_nothing_is_told_and_nothing_is_made(tmp_path: Path) -> None:
    (tmp_path / "job").mkdir()
    (tmp_path / "job" / "journal.jsonl").write_bytes(b"\x00" * 4000)
    with pytest.raises(JobError, match="not one event carries its own sum"):
        salvage(tmp_path / "job", tmp_path / "jobs")
    assert not (tmp_path / "jobs").exists()
