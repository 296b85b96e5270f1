"""Protects the job on disk: kept means on disk, one writer, every failure of the disk in one sentence, nothing lost."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from listen import durable
from listen.durable import sha256_of
from listen.errors import JobError, JobLocked, JournalBroken
from listen.jobs import events as ev
from listen.jobs.folder.chain import JOURNAL
from listen.jobs.folder.store import create_job, jobs_root, list_jobs, open_job
from listen.jobs.folder.witnesses import SUMMARY, JobSummary
from tests.jobs.made import leave_part
from tests.jobs.short import begin_round, note_texts
from tests.patience import in_time

HOSTILE = [
    "../../etc/passwd",
    "CON",
    "a" * 400,
    "",
    "\u202egnol\u202c",
    "🔧🔧",
    "[bold red]x[/]",
    "<script>alert(1)</script>",
    "\x1b[2J\x00\n\r",
    "name\nwith lines",
    " . ",
]


@pytest.mark.parametrize("title", HOSTILE)
def test_hostile_names_stay_text_and_make_tame_folders(tmp_path: Path, title: str) -> None:
    """Whatever is typed as title comes back letter for letter, and the folder name is plain."""
    with create_job(tmp_path, title=title, actor=title) as opened:
        opened.append(ev.NoteAdded(text=title))
        folder = opened.folder
    assert folder.parent == tmp_path
    assert set(folder.name) <= set("abcdefghijklmnopqrstuvwxyz0123456789-")
    with open_job(folder, write=False) as again:
        assert again.job.title == title
        assert note_texts(again.job) == (title,)
        assert again.job == opened.job


def test_append_then_reopen_is_the_same_job(tmp_path: Path) -> None:
    """The value in hand and the value read back are equal."""
    with create_job(tmp_path, title="t", shop="s", actor="Ann") as opened:
        round_id = begin_round(opened, 2)
        opened.append(
            ev.PersonChosen(role="tech", name="Ann"),
            ev.ReadingEntered(reading="loss", value=20, unit="percent", si=20.0, cylinder=2, round_id=round_id),
        )
        job = opened.job
    with open_job(opened.folder) as again:
        assert again.job == job
        assert again.chain.head == opened.chain.head


def test_a_second_writer_is_refused_by_name_and_may_read(tmp_path: Path) -> None:
    """Who, where, since when; reading goes on; closing frees."""
    with create_job(tmp_path, title="t") as first:
        with pytest.raises(JobLocked, match=f"process {os.getpid()}"):
            open_job(first.folder)
        with open_job(first.folder, write=False) as reader:
            assert not reader.writable
            with pytest.raises(JobError, match="read only"):
                reader.append(ev.NoteAdded(text="x"))
    with open_job(first.folder) as second:
        second.append(ev.NoteAdded(text="now it goes"))


def test_a_torn_end_is_moved_aside_at_every_byte(tmp_path: Path) -> None:
    """Whatever a crash left of the last line: earlier events hold, the piece is kept, and the job says so."""
    with create_job(tmp_path, title="t") as opened:
        opened.append(ev.NoteAdded(text="kept"))
        opened.append(ev.NoteAdded(text="torn"))
    data = (opened.folder / JOURNAL).read_bytes()
    last = len(data.splitlines(keepends=True)[-1])
    (opened.folder / SUMMARY).unlink()
    for cut in range(1, last, 7):
        folder = tmp_path / f"cut{cut}"
        shutil.copytree(opened.folder, folder)
        (folder / JOURNAL).write_bytes(data[:-cut])
        with open_job(folder) as again:
            again.append(ev.NoteAdded(text="goes on"))
            assert note_texts(again.job) == (("kept", "torn") if cut == 1 else ("kept",)) + ("goes on",)
            assert (cut == 1) == (not again.job.troubles)
        if cut > 1:
            (piece,) = folder.glob("journal-torn-*")
            assert piece.read_bytes() == data[-last:-cut]
        assert not open_job(folder, write=False).broken


def test_lost_last_lines_are_told_by_the_summary(tmp_path: Path) -> None:
    """Lines cut off at a line end leave a chain that holds; the summary remembers that there was more."""
    with create_job(tmp_path, title="t") as opened:
        for n in range(4):
            opened.append(ev.NoteAdded(text=str(n)))
    path = opened.folder / JOURNAL
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-2]))
    with open_job(opened.folder) as again:
        assert "2 event(s) known before were gone" in again.job.troubles[0]
    with open_job(opened.folder) as once_more:
        assert len(once_more.job.troubles) == 1, "said once, in the journal, not again at each opening"


def test_a_broken_chain_refuses_writing_and_still_reads(tmp_path: Path) -> None:
    """Edit a line: from which event on is said, the events before can be read."""
    with create_job(tmp_path, title="t") as opened:
        for word in ("first", "second", "third"):
            opened.append(ev.NoteAdded(text=word))
    path = opened.folder / JOURNAL
    path.write_bytes(path.read_bytes().replace(b"second", b"sekond"))
    with pytest.raises(JournalBroken, match="from event 3 on"):
        open_job(opened.folder)
    reader = open_job(opened.folder, write=False)
    assert note_texts(reader.job) == ("first",)
    assert "from event 3 on" in reader.broken
    (row,) = list_jobs(tmp_path)
    assert row.trouble


def test_a_clip_is_kept_whole_and_named_before_it_is_acknowledged(tmp_path: Path) -> None:
    """Part to FLAC to event; take numbers count; the hash is that of the file; the part goes."""
    with create_job(tmp_path, title="t") as opened:
        round_id = begin_round(opened, 1)
        for n in (1, 2):
            part = opened.new_part(round_id, "intake", "quiet", "quiet")
            leave_part(part.path, seed=n)
            opened.keep(part)
            clip = opened.job.round(round_id).clips[-1].kept
            assert clip.take == n
            assert clip.sha256 == sha256_of(opened.clip_path(clip.clip))
            assert clip.device == "invented microphone"
            assert not part.path.exists()
        assert opened.partials() == ()


def test_a_left_over_take_is_offered_and_adopted_or_dropped(tmp_path: Path) -> None:
    """After a crash mid-clip the take is there, and either decision is in the journal."""
    with create_job(tmp_path, title="t") as opened:
        round_id = begin_round(opened, 1)
        for n in (1, 2):
            leave_part(opened.new_part(round_id, "tailpipe", "air", "air").path, seed=n)
    with open_job(opened.folder) as again:
        first, second = again.partials()
        assert (first.point, first.clip_kind, first.walk) == ("tailpipe", "air", "air")
        again.keep(first, recovered=True)
        again.drop(second)
        assert again.partials() == ()
        assert again.job.round(round_id).live_clips()[0].kept.recovered
        found = [e.payload for e in again.chain.events() if isinstance(e.payload, ev.PartFound)]
        assert [p.part for p in found] == [second.path.name]
    with open_job(opened.folder) as later:
        assert later.partials() == ()


def test_a_crash_between_file_and_event_loses_no_take(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The sound file is named, the event never comes: the part is still there to be adopted."""
    with create_job(tmp_path, title="t") as opened:
        round_id = begin_round(opened, 1)
        part = opened.new_part(round_id, "intake", "air", "air")
        leave_part(part.path)
        with monkeypatch.context() as m:
            m.setattr(durable, "append", _refuse(errno.ENOSPC))
            with pytest.raises(JobError, match="disk is full"):
                opened.keep(part)
        assert opened.job.round(round_id).clips == ()
        assert opened.partials() == (part,)
        opened.keep(part)
        assert len(opened.job.round(round_id).clips) == 1


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (errno.ENOSPC, "disk is full"),
        (errno.EROFS, "read-only"),
        (errno.EACCES, "no permission"),
        (errno.EIO, "disk reports an error"),
    ],
)
def test_a_refusing_disk_leaves_the_job_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, code: int, words: str
) -> None:
    """One sentence, same job value, same bytes, and the next append works."""
    with create_job(tmp_path, title="t") as opened:
        before, data = opened.job, (opened.folder / JOURNAL).read_bytes()
        with monkeypatch.context() as m:
            m.setattr(durable, "_write_all", _half_then(code))
            with pytest.raises(JobError, match=words):
                opened.append(ev.NoteAdded(text="x" * 500))
        assert opened.job == before
        assert (opened.folder / JOURNAL).read_bytes() == data
        opened.append(ev.NoteAdded(text="again"))
    with open_job(opened.folder) as again:
        assert note_texts(again.job) == ("again",)


def test_a_removed_folder_is_noticed_before_anything_is_acknowledged(tmp_path: Path) -> None:
    """A drive pulled out: one sentence, the value in hand is unchanged."""
    with create_job(tmp_path, title="t") as opened:
        before = opened.job
        shutil.move(opened.folder, tmp_path / "elsewhere")
        with pytest.raises(JobError, match="gone"):
            opened.append(ev.NoteAdded(text="x"))
        assert opened.job == before


def test_another_program_that_wrote_anyway_is_noticed(tmp_path: Path) -> None:
    """A journal that grew under us is not written to."""
    with create_job(tmp_path, title="t") as opened:
        with (opened.folder / JOURNAL).open("ab") as f:
            f.write(b"stray\n")
        with pytest.raises(JobError, match="another program wrote"):
            opened.append(ev.NoteAdded(text="x"))


def test_not_a_job_folder_is_said_in_words(tmp_path: Path) -> None:
    """Missing folder, folder without a journal, a file: a sentence each, no lock file left behind."""
    (tmp_path / "empty").mkdir()
    (tmp_path / "file").write_text("x")
    for name, words in (
        ("missing", "no such job folder"),
        ("empty", "not a job folder"),
        ("file", "no such job folder"),
    ):
        with pytest.raises(JobError, match=words):
            open_job(tmp_path / name)
    assert list((tmp_path / "empty").iterdir()) == []


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="permissions do not bind this user")
def test_a_folder_without_permission_is_said_in_words(tmp_path: Path) -> None:
    """Neither made nor opened for writing, but read."""
    opened = create_job(tmp_path, title="t")
    opened.close()
    opened.folder.chmod(0o500)
    try:
        with pytest.raises(JobError, match="no permission"):
            open_job(opened.folder)
        assert open_job(opened.folder, write=False).job.title == "t"
    finally:
        opened.folder.chmod(0o700)


def test_five_thousand_jobs_are_listed_within_a_second(tmp_path: Path) -> None:
    """From their summaries, the one changed last first."""
    opened = create_job(tmp_path / "one", title="t")
    opened.append(ev.NoteAdded(text="x"))
    opened.close()
    root = tmp_path / "many"
    root.mkdir()
    for n in range(5000):
        folder = root / f"job-{n:04d}"
        folder.mkdir()
        for name in (JOURNAL, SUMMARY):
            os.link(opened.folder / name, folder / name)
    listed: list[list[JobSummary]] = []
    in_time(lambda: _seconds(lambda: listed.append(list(list_jobs(root)))), 1.0)
    assert all(len(rows) == len({r.folder for r in rows}) == 5000 for rows in listed)


def test_a_missing_stale_or_corrupt_summary_is_rebuilt(tmp_path: Path) -> None:
    """Nothing but the journal is needed to list a job."""
    with create_job(tmp_path, title="alpha") as opened:
        opened.append(ev.NoteAdded(text="x"))
    (good,) = list_jobs(tmp_path)
    summary = opened.folder / SUMMARY
    for spoil in (summary.unlink, lambda: summary.write_bytes(b'{"id": 3'), lambda: summary.write_bytes(b"[" * 100000)):
        spoil()
        (row,) = list_jobs(tmp_path)
        assert row == good
        assert summary.exists()


def test_jobs_are_sorted_by_last_change_and_strangers_are_left_out(tmp_path: Path) -> None:
    """Other folders and files under the root do no harm; a root that does not exist holds no jobs."""
    assert list_jobs(tmp_path / "none") == []
    first = create_job(tmp_path, title="first")
    time.sleep(0.005)
    create_job(tmp_path, title="second").close()
    (tmp_path / "stranger").mkdir()
    (tmp_path / "file.txt").write_text("x")
    assert [r.title for r in list_jobs(tmp_path)] == ["second", "first"]
    time.sleep(0.005)
    first.append(ev.NoteAdded(text="later"))
    first.close()
    assert [r.title for r in list_jobs(tmp_path)] == ["first", "second"]
    with pytest.raises(JobError, match="a file stands"):
        list_jobs(tmp_path / "file.txt")


def test_the_clock_going_backwards_does_no_harm(tmp_path: Path) -> None:
    """Order is the journal's; times are only told."""
    with create_job(tmp_path, title="t") as opened:
        opened.append(ev.ReadingEntered(reading="loss", value=9, unit="percent", si=9, cylinder=1))
        import listen.jobs.folder.journal as journal

        real, journal.utc_now = journal.utc_now, lambda: "1999-01-01T00:00:00.000Z"
        try:
            opened.append(ev.ReadingEntered(reading="loss", value=11, unit="percent", si=11, cylinder=1))
        finally:
            journal.utc_now = real
    with open_job(opened.folder) as again:
        latest = again.job.reading("loss", 1)
        assert latest is not None
        assert latest.value == 11


def test_the_jobs_folder_is_the_option_then_the_environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """And else the platform's user data folder."""
    monkeypatch.setenv("HISSWAY_JOBS", str(tmp_path / "env"))
    assert jobs_root(tmp_path / "opt") == tmp_path / "opt"
    assert jobs_root() == tmp_path / "env"
    monkeypatch.delenv("HISSWAY_JOBS")
    assert jobs_root().name == "jobs"


def _seconds(call: object) -> float:
    """Processor time: what else the machine does is no part of the promise."""
    start = time.process_time()
    call()  # type: ignore[operator]
    return time.process_time() - start


def _refuse(code: int):  # type: ignore[no-untyped-def]
    def refuse(*_: object, **__: object) -> None:
        raise OSError(code, os.strerror(code))

    return refuse


def _half_then(code: int):  # type: ignore[no-untyped-def]
    def half(fd: int, data: bytes) -> None:
        os.write(fd, data[: len(data) // 2])
        raise OSError(code, os.strerror(code))

    return half


def test_a_writer_in_another_program_is_named(tmp_path: Path) -> None:
    """Across processes: refused while it lives, free at once when it is killed."""
    with create_job(tmp_path, title="t") as opened:
        folder = opened.folder
    program = (
        "import sys, time\nfrom listen.jobs.folder.store import open_job\n"
        "opened = open_job(sys.argv[1])\nprint('open', flush=True)\ntime.sleep(60)\n"
    )
    other = subprocess.Popen([sys.executable, "-c", program, folder], stdout=subprocess.PIPE, text=True)
    try:
        assert other.stdout is not None
        assert other.stdout.readline() == "open\n"
        with pytest.raises(JobLocked, match=f"process {other.pid}"):
            open_job(folder)
    finally:
        other.kill()
        other.wait()
    with open_job(folder) as mine:
        mine.append(ev.NoteAdded(text="free again"))
