"""Protects jobs put aside: moved whole, found again, never over one of the same name, removed only when asked."""

from __future__ import annotations

from pathlib import Path

import pytest

from listen.errors import JobError, JobLocked
from listen.jobs.events import DetailsGiven, JobNamed
from listen.jobs.exchange.verify import verify_job
from listen.jobs.folder.store import Shelf, create_job, empty_trash, list_jobs, move_job, open_job


def made(root: Path, title: str) -> str:
    with create_job(root, title=title) as opened:
        return opened.folder.name


@pytest.mark.parametrize("shelf", list(Shelf))
def test_a_job_put_aside_is_out_of_the_list_and_comes_back_as_it_was(tmp_path: Path, shelf: Shelf) -> None:
    name, stays = made(tmp_path, "Green tractor"), made(tmp_path, "Pump")
    before = (tmp_path / name / "journal.jsonl").read_bytes()
    move_job(tmp_path / name, tmp_path / shelf)
    assert [s.folder for s in list_jobs(tmp_path)] == [stays]
    assert [s.title for s in list_jobs(tmp_path / shelf)] == ["Green tractor"]
    back = move_job(tmp_path / shelf / name, tmp_path)
    assert back == tmp_path / name and (back / "journal.jsonl").read_bytes() == before
    assert len(list_jobs(tmp_path)) == 2 and list_jobs(tmp_path / shelf) == []


def test_a_name_that_is_taken_meanwhile_costs_neither_job(tmp_path: Path) -> None:
    name = made(tmp_path, "Pump")
    move_job(tmp_path / name, tmp_path / Shelf.TRASH)
    (tmp_path / name).mkdir()
    (tmp_path / name / "journal.jsonl").write_bytes((tmp_path / Shelf.TRASH / name / "journal.jsonl").read_bytes())
    assert move_job(tmp_path / Shelf.TRASH / name, tmp_path).name == f"{name}-2"
    assert len(list_jobs(tmp_path)) == 2


def test_a_job_in_use_stays_where_it_is(tmp_path: Path) -> None:
    name = made(tmp_path, "Pump")
    with open_job(tmp_path / name), pytest.raises(JobLocked):
        move_job(tmp_path / name, tmp_path / Shelf.ARCHIVE)
    assert [s.folder for s in list_jobs(tmp_path)] == [name]
    with pytest.raises(JobError, match="no such job"):
        move_job(tmp_path / "gone", tmp_path / Shelf.ARCHIVE)


def test_only_emptying_the_trash_removes(tmp_path: Path) -> None:
    kept, gone = made(tmp_path, "Kept"), made(tmp_path, "Gone")
    move_job(tmp_path / kept, tmp_path / Shelf.ARCHIVE)
    move_job(tmp_path / gone, tmp_path / Shelf.TRASH)
    assert empty_trash(tmp_path) == 1
    assert list_jobs(tmp_path / Shelf.TRASH) == []
    assert [s.title for s in list_jobs(tmp_path / Shelf.ARCHIVE)] == ["Kept"]


def test_the_card_keeps_what_is_given_and_clears_what_is_emptied(tmp_path: Path) -> None:
    """Fields not named stay; an emptied one is gone from the job, not from the journal; jobs are found by them."""
    with create_job(tmp_path, title="Pump") as opened:
        opened.append(DetailsGiven(details={"registration": "AB 12", "customer": "Ilse"}), JobNamed(complaint="smokes"))
        opened.append(DetailsGiven(details={"customer": ""}))
        assert opened.job.details == {"registration": "AB 12"} and opened.job.complaint == "smokes"
        assert "Ilse" in (opened.folder / "journal.jsonl").read_text("utf-8")
    (summary,) = list_jobs(tmp_path)
    assert summary.details == "AB 12"


def test_what_was_cut_off_a_job_put_aside_is_noticed(tmp_path: Path) -> None:
    """The register knows it where it lies."""
    name = made(tmp_path, "Pump")
    with open_job(tmp_path / name) as opened:
        opened.append(JobNamed(title="Water pump"))
    there = move_job(tmp_path / name, tmp_path / Shelf.ARCHIVE)
    assert verify_job(there).ok and not verify_job(there).remarks
    lines = (there / "journal.jsonl").read_bytes().splitlines(keepends=True)
    (there / "journal.jsonl").write_bytes(b"".join(lines[:-1]))
    (there / "job.json").unlink()
    assert [m.what for m in verify_job(there).mismatches] == ["history"]
