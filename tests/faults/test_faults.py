"""A slice of the faults passes in CI, and the checker sees what it is there to see."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from listen.jobs import events as ev
from listen.jobs.folder.store import create_job
from tests.faults.command import KINDS, fail_everywhere, why_not
from tests.faults.independent import faults_of
from tests.jobs.made import leave_part
from tests.jobs.short import begin_round

EVERY = 149
"""Of some 2,600 faults; coprime to the number of kinds, so that all kinds are met."""


@pytest.mark.skipif(bool(why_not()), reason=why_not())
def test_a_fault_at_any_operation_breaks_no_promise(tmp_path: Path) -> None:
    assert EVERY % len(KINDS) and len(KINDS) == 10
    found = fail_everywhere(tmp_path, EVERY)
    assert found.broken == ()
    assert found.operations > 200 and found.cases >= 12


def a_job(jobs: Path) -> tuple[Path, list[str]]:
    with create_job(jobs, title="t") as opened:
        part = opened.new_part(begin_round(opened, 1), "intake", "air", "air")
        leave_part(part.path)
        opened.keep(part)
        opened.append(ev.NoteAdded(text="heard twice"))
    said = [f"job {opened.folder.name}", f"clip {part.clip}", "note heard twice", f"sound {part.clip} 4800"]
    return opened.folder, said


def test_the_checker_finds_nothing_in_a_job_that_is_whole(tmp_path: Path) -> None:
    _, said = a_job(tmp_path)
    assert faults_of(tmp_path, said) == []


def test_the_checker_names_what_is_lost_changed_or_left_behind(tmp_path: Path) -> None:
    folder, said = a_job(tmp_path)
    assert "note 'never' is not there once" in faults_of(tmp_path, [*said, "note never"])
    assert "clip 0123 is lost" in faults_of(tmp_path, [*said, "clip 0123"])
    assert any("had arrived" in f for f in faults_of(tmp_path, [*said[:3], said[3][:-4] + "9999"]))
    assert any("nothing is left" in f for f in faults_of(tmp_path, [*said, "sound 0123 480"]))
    (folder / "parts" / "x.part").write_bytes(b"")
    assert faults_of(tmp_path, said) == ["left behind: parts/x.part"]
    clip = next((folder / "clips").iterdir())
    clip.write_bytes(clip.read_bytes()[:-1])
    assert any("not the file that was acknowledged" in f for f in faults_of(tmp_path, said))
    journal = folder / "journal.jsonl"
    journal.write_bytes(journal.read_bytes().replace(b"heard twice", b"heard once "))
    assert any("chain breaks" in f for f in faults_of(tmp_path, said))
    os.truncate(journal, journal.stat().st_size - 1)
    assert any("not whole" in f for f in faults_of(tmp_path, said))
