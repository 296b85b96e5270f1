"""Protects a job that two programs have open: both write, both see it, nobody decides on what they have not seen."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from listen.errors import JobChanged, JobError, JobLocked
from listen.jobs import events as ev
from listen.jobs.exchange.sign import sign_round
from listen.jobs.exchange.verify import verify_job
from listen.jobs.folder.chain import JOURNAL
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.store import create_job, open_job
from tests.jobs.shop import QUICK, record, small_job
from tests.jobs.short import note_texts


@pytest.fixture
def two(tmp_path: Path) -> tuple[OpenJob, OpenJob]:
    """The tech at the bench and the supervisor elsewhere, in one job with one judged round."""
    folder = small_job(tmp_path)
    return open_job(folder, actor="Ann"), open_job(folder, bench=False, actor="Ida")


def test_each_writes_after_the_other_and_knows_all(two: tuple[OpenJob, OpenJob]) -> None:
    ann, ida = two
    for n in range(3):
        ann.append(ev.NoteAdded(text=f"a{n}"))
        ida.append(ev.NoteAdded(text=f"i{n}"))
    assert note_texts(ann.catch_up()) == ("a0", "i0", "a1", "i1", "a2", "i2") == note_texts(ida.job)
    assert ann.chain.head == ida.chain.head
    assert [e.actor for e in ann.take_news()] == ["Ida"] * 3
    assert ann.take_news() == ()
    assert verify_job(ann.folder, QUICK).ok


def test_only_one_records_and_the_other_is_told_who(two: tuple[OpenJob, OpenJob]) -> None:
    """A clip of the other is no left-over take of ours."""
    ann, ida = two
    round_id = ann.job.rounds[0].id
    running = ann.new_part(round_id, "intake", "air", "air")
    running.path.write_bytes(b"a take under way")
    with pytest.raises(JobLocked, match="has this job at the engine"):
        ida.new_part(round_id, "intake", "air", "air")
    assert ida.partials() == ()
    ann.leave_bench()
    ida.to_bench()
    assert [p.clip for p in ida.partials()] == [running.clip]
    with pytest.raises(JobLocked):
        ann.to_bench()


def test_nobody_decides_or_signs_on_what_they_have_not_seen(two: tuple[OpenJob, OpenJob]) -> None:
    """Refused with what came in; seen, it goes; two supervisors at once never settle each other unseen."""
    ann, ida = two
    round_id = ann.job.rounds[0].id
    record(ann, round_id, "intake", "air", "air", 77)
    agreed = ev.Confirmed(round_id=round_id, name="Ida", blind=False)
    with pytest.raises(JobChanged, match="clip kept by Ann"):
        ida.append(agreed)
    assert not ida.job.round(round_id).decisions
    ida.append(agreed)
    with pytest.raises(JobChanged, match="confirmed by Ida"):
        ann.append(ev.Overruled(round_id=round_id, name="Bo", paths=("rings",), reason="heard it"))
    ann.append(ev.ReadingEntered(reading="loss", value=9, unit="percent", si=9.0, cylinder=1, round_id=round_id))
    with pytest.raises(JobChanged, match="loss entered as 9 % by Ann"):
        sign_round(ida, round_id, name="Ida")
    assert not ida.job.round(round_id).signed
    sign_round(ida, round_id, name="Ida")
    assert verify_job(ann.folder, QUICK).ok


def test_a_note_is_never_refused_for_what_came_in(two: tuple[OpenJob, OpenJob]) -> None:
    ann, ida = two
    ann.append(ev.NoteAdded(text="a"))
    ida.append(ev.ReadingEntered(reading="loss", value=9, unit="percent", si=9.0, cylinder=2))
    assert note_texts(ida.job) == ("a",)


def test_a_line_the_other_died_in_is_moved_aside(two: tuple[OpenJob, OpenJob]) -> None:
    """While it may still be written it is only not read; whoever writes next finds nobody writing and mends."""
    ann, ida = two
    with (ann.folder / JOURNAL).open("ab") as f:
        f.write(b'{"id":"torn')
    assert not ida.catch_up().troubles
    ida.append(ev.NoteAdded(text="after"))
    assert note_texts(ida.job) == ("after",)
    assert [p.read_bytes() for p in ida.folder.glob("journal-torn-*.bin")] == [b'{"id":"torn']
    assert ann.catch_up() == ida.job


@pytest.mark.parametrize("what", ["shorter", "another", "stray"])
def test_a_journal_that_does_not_go_on_from_ours_is_not_written_to(two: tuple[OpenJob, OpenJob], what: str) -> None:
    ann, ida = two
    path = ann.folder / JOURNAL
    data = path.read_bytes()
    with create_job(ann.folder.parent, title="another") as other:
        bad = {
            "shorter": data[: data.rindex(b"\n", 0, -1) + 1],
            "another": (other.folder / JOURNAL).read_bytes(),
            "stray": data + b"stray\n",
        }[what]
    path.write_bytes(bad)
    known = ida.job
    with pytest.raises(JobError, match="not the journal that was opened"):
        ida.catch_up()
    with pytest.raises(JobError, match="nothing was written"):
        ida.append(ev.NoteAdded(text="x"))
    assert ida.job == known
    assert path.read_bytes() == bad


@pytest.mark.skipif(os.name == "nt", reason="Windows locks files in another way")
@pytest.mark.parametrize("why", [errno.ENOLCK, errno.ENOSYS])
def test_a_share_that_knows_no_locks_is_told_as_that_and_nothing_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, why: int
) -> None:
    """Never taken for another program that writes all the while; reading goes on."""
    import fcntl

    folder = small_job(tmp_path)
    opened = open_job(folder, bench=False)
    before = (folder / JOURNAL).read_bytes()

    def no_locks(*_: object) -> None:
        raise OSError(why, os.strerror(why))

    monkeypatch.setattr(fcntl, "flock", no_locks)
    for act in (lambda: opened.append(ev.NoteAdded(text="x")), lambda: open_job(folder)):
        with pytest.raises(JobError, match="the disk knows no locks") as told:
            act()
        assert not isinstance(told.value, JobLocked)
    assert (folder / JOURNAL).read_bytes() == before
    assert open_job(folder, write=False).job == opened.job
