"""Protects a job folder that a stranger, a crash or a scanner has left in a strange state."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

import msgspec
import numpy as np
import pytest

from listen import durable
from listen.audio.write import write_clip
from listen.durable import read_file, whole_file
from listen.errors import HisswayError, JobError
from listen.jobs import events as ev
from listen.jobs.bring_in import Recording, bring_in
from listen.jobs.exchange.verification import Against
from listen.jobs.exchange.verify import verify_job
from listen.jobs.folder import chain
from listen.jobs.folder.chain import read_chain
from listen.jobs.folder.journal import GENESIS, write_line
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.parts import new_partial
from listen.jobs.folder.store import create_job, list_jobs, open_job
from listen.signal.clip import Clip
from listen.trade.engine import layout
from tests.fuzz.mutate import read_events, relink
from tests.jobs.made import leave_part
from tests.jobs.short import begin_round

NOISE = Clip.of(np.random.default_rng(0).normal(0.0, 0.01, 48_000), 48_000)
posix = pytest.mark.skipif(os.name == "nt", reason="pipes, links and modes are Unix's")


def job_with_a_part(root: Path) -> tuple[OpenJob, Path]:
    opened = create_job(root, title="t")
    part = opened.new_part(begin_round(opened, 1), "intake", "quiet", "quiet")
    leave_part(part.path)
    return opened, part.path


@posix
@pytest.mark.parametrize("name", ["job.json", "journal.jsonl", ".writer.json"])
def test_a_pipe_where_a_file_should_be_is_told_and_not_waited_for(name: str, tmp_path: Path) -> None:
    with create_job(tmp_path, title="t") as opened:
        folder = opened.folder
    (folder / name).unlink(missing_ok=True)
    os.mkfifo(folder / name)
    assert len(list_jobs(tmp_path)) == 1
    try:
        open_job(folder).close()
    except HisswayError as told:
        assert name == "journal.jsonl" and "journal" in str(told)


@posix
def test_no_link_laid_beforehand_is_written_through(tmp_path: Path) -> None:
    victim = tmp_path / "diary.txt"
    victim.write_text("mine")
    target = tmp_path / "a.flac"
    (tmp_path / f".a.flac.{os.getpid()}.tmp").symlink_to(victim)
    with whole_file(target) as file:
        inside = [p for p in tmp_path.iterdir() if p.name.startswith(".hissway-")]
        file.write(b"sound")
    assert victim.read_text() == "mine" and target.read_bytes() == b"sound"
    assert len(inside) == 1 and not inside[0].exists()
    target.unlink()
    target.symlink_to(victim)
    with whole_file(target) as file:
        file.write(b"sound")
    assert victim.read_text() == "mine" and not target.is_symlink()


@posix
def test_recordings_are_the_users_alone_unless_the_shop_shares_the_folder(tmp_path: Path) -> None:
    own, shared = tmp_path / "own", tmp_path / "shared"
    shared.mkdir()
    shared.chmod(0o770)
    for root, folder_mode, file_mode in ((own, 0o700, 0o600), (shared, 0o770, 0o660)):
        opened, _ = job_with_a_part(root)
        with opened:
            opened.keep(opened.partials()[0])
        umask = os.umask(0)
        os.umask(umask)
        files = [p for p in opened.folder.rglob("*") if p.is_file()]
        assert stat.S_IMODE(opened.folder.stat().st_mode) == folder_mode & ~umask
        assert {".flac", ".jsonl", ".json"} <= {p.suffix for p in files}
        for file in files:
            assert stat.S_IMODE(file.stat().st_mode) == file_mode & ~umask, file


def test_what_killed_writers_left_is_swept_when_the_job_is_opened(tmp_path: Path) -> None:
    opened, part = job_with_a_part(tmp_path)
    with opened:
        opened.keep(opened.partials()[0])
    leave_part(part)  # as if it could not be removed
    passing = opened.clips / ".hissway-0123456789abcdef.tmp"
    passing.write_bytes(b"half a clip")
    others = opened.folder / ".hissway-0123456789abcdef.tmp"
    others.write_bytes(b"half a summary")
    with open_job(opened.folder):
        assert not part.exists() and not passing.exists()
        assert others.exists()  # another program may be writing it at this moment
    os.utime(others, (1, 1))
    open_job(opened.folder).close()
    assert not others.exists()


def test_a_part_is_not_removed_while_its_clip_is_not_whole(tmp_path: Path) -> None:
    opened, part = job_with_a_part(tmp_path)
    with opened:
        opened.keep(opened.partials()[0])
    leave_part(part)
    clip = next(opened.clips.glob("*.flac"))
    clip.write_bytes(clip.read_bytes()[:-1])
    open_job(opened.folder).close()
    assert part.exists()


def test_a_part_that_something_holds_is_no_trouble_and_goes_later(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def held(self: Path, missing_ok: bool = False) -> None:
        raise PermissionError(13, "a scanner holds it")

    opened, part = job_with_a_part(tmp_path)
    with opened, monkeypatch.context() as scanner:
        scanner.setattr(Path, "unlink", held)
        assert len(opened.keep(opened.partials()[0]).rounds[0].clips) == 1
        assert opened.partials() == ()
    assert part.exists()
    open_job(opened.folder).close()
    assert not part.exists()


@pytest.mark.parametrize("killed_at", ["write_clip", "append"])
def test_killed_during_an_import_nobody_is_accused_and_the_sound_is_offered(
    killed_at: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "phone.flac"
    write_clip(file, NOISE)

    def killed(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    with create_job(tmp_path / "jobs", title="t") as opened:
        round_id = begin_round(opened, 1)
        with monkeypatch.context() as crash, pytest.raises(KeyboardInterrupt):
            if killed_at == "append":
                crash.setattr(OpenJob, "append", killed)
            else:
                crash.setattr("listen.audio.write.write_clip", killed)
            bring_in(opened, round_id, [Recording(file, 1.0, point="intake")])
    with open_job(opened.folder) as again:
        (left,) = again.partials()
        again.keep(left, recovered=True)
    assert verify_job(opened.folder, Against(judge=None)).ok


# Faults that once were planted here and no test noticed.


def test_a_file_swapped_under_an_append_is_noticed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    journal = tmp_path / "journal"
    journal.write_bytes(b"1\n")
    sync = os.fsync

    def swapped(fd: int) -> None:
        sync(fd)
        (tmp_path / "other").write_bytes(b"1\n")
        (tmp_path / "other").replace(journal)

    monkeypatch.setattr(os, "fsync", swapped)
    with pytest.raises(FileNotFoundError):
        durable.append(journal, b"2\n", 2)


def test_the_same_event_twice_breaks_the_chain_though_every_hash_fits(tmp_path: Path) -> None:
    with create_job(tmp_path, title="t") as opened:
        opened.append(ev.NoteAdded(text="once"))
        data = (opened.folder / "journal.jsonl").read_bytes()
        note = opened.chain.lines[-1]
    again = write_line(
        note.event.payload, prev=note.hash, actor=note.event.actor, time=note.event.time, id=note.event.id
    )
    chain = read_chain(data + again.raw + b"\n")
    assert "second time" in chain.broken and len(chain.lines) == 2


def test_a_part_of_an_unknown_round_is_neither_offered_nor_kept_nor_removed(tmp_path: Path) -> None:
    with create_job(tmp_path, title="t") as opened:
        begin_round(opened, 1)
        stray = new_partial(opened.folder, "c9-ffffff", "intake", "quiet", "quiet")
        leave_part(stray.path)
        assert opened.partials() == ()
        with pytest.raises(JobError, match="no round c9-ffffff"):
            opened.keep(stray)
    open_job(opened.folder).close()
    assert stray.path.exists() and not list(opened.clips.iterdir())


def test_a_take_of_no_known_round_goes_after_a_month_for_its_journal_may_still_be_restored(tmp_path: Path) -> None:
    with create_job(tmp_path, title="t") as opened:
        begin_round(opened, 1)
        fresh, old = (new_partial(opened.folder, "c9-ffffff", "intake", "quiet", "quiet") for _ in range(2))
        for part, days in ((fresh, 29), (old, 31)):
            leave_part(part.path)
            then = part.path.stat().st_mtime - days * 86_400
            os.utime(part.path, (then, then))
    open_job(opened.folder).close()
    assert fresh.path.exists() and not old.path.exists()


def test_passing_files_of_the_register_go_when_a_job_is_opened(tmp_path: Path) -> None:
    with create_job(tmp_path, title="t") as opened:
        opened.append(ev.NoteAdded(text="so that the register knows it"))
        left = tmp_path / ".heads" / f".hissway-{'0' * 16}.tmp"
        left.write_bytes(b"half")
        os.utime(left, (0, 0))
    open_job(opened.folder).close()
    assert not left.exists()


@pytest.mark.parametrize(("deep", "held"), [(40, True), (41, False)])
def test_merges_lie_in_merges_forty_deep_and_no_deeper(deep: int, held: bool) -> None:
    """Each level is read once more by the one around it: without an end a small file would take for ever."""
    first = write_line(ev.JobOpened(job="0" * 32, title="t", engine=layout("inline-4")), prev=GENESIS, actor="")
    line = write_line(ev.NoteAdded(text="inside"), prev=first.hash, actor="")
    for _ in range(deep):
        merged = ev.Merged(fork=first.hash, lines=(msgspec.Raw(line.raw),), source="x.zip")
        line = write_line(merged, prev=first.hash, actor="")
    read = read_chain(first.raw + b"\n" + line.raw + b"\n")
    assert (read.broken == "") is held
    assert held or "more than 40 deep" in read.broken


@pytest.mark.parametrize(("merges", "held"), [(4, True), (5, False)])
def test_merges_one_after_the_other_have_an_end_too(merges: int, held: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chain, "MAX_MERGES", 4)
    lines = [write_line(ev.JobOpened(job="0" * 32, title="t", engine=layout("inline-4")), prev=GENESIS, actor="")]
    for n in range(merges):
        theirs = write_line(ev.NoteAdded(text=f"there {n}"), prev=lines[0].hash, actor="")
        merged = ev.Merged(fork=lines[0].hash, lines=(msgspec.Raw(theirs.raw),), source="x.zip")
        lines.append(write_line(merged, prev=lines[-1].hash, actor=""))
    read = read_chain(b"".join(line.raw + b"\n" for line in lines))
    assert (read.broken == "") is held
    assert held or "more than 4 merges" in read.broken


def test_one_job_that_cannot_be_understood_leaves_the_list_of_the_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for title in ("good", "bad", "fine"):
        with create_job(tmp_path, title=title) as opened:
            opened.append(ev.NoteAdded(text=title))
    from listen.jobs.folder import store

    for file in tmp_path.rglob("job.json"):
        file.unlink()
    whole = store.fold

    def puzzled(events: object) -> object:
        job = whole(events)  # type: ignore[arg-type]
        if job.title == "bad":
            raise RuntimeError("no rule")
        return job

    monkeypatch.setattr(store, "fold", puzzled)
    rows = {row.title: row.trouble for row in list_jobs(tmp_path)}
    assert rows["good"] == rows["fine"] == "" and len(rows) == 3
    assert any("cannot be understood" in trouble for trouble in rows.values())


def test_an_event_that_makes_no_sense_is_told_and_the_job_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from listen.jobs import fold

    def puzzled(*_: object) -> None:
        raise ValueError("such a number")

    monkeypatch.setitem(fold.RULES, ev.NoteAdded, puzzled)
    with create_job(tmp_path, title="t") as opened:
        opened.append(ev.NoteAdded(text="odd"))
        assert begin_round(opened, 1)
    assert "cannot be understood (ValueError: such a number)" in opened.job.troubles[0]


def test_a_file_larger_than_can_be_ours_is_refused_not_read_in_part(tmp_path: Path) -> None:
    (tmp_path / "x").write_bytes(b"12345")
    assert read_file(tmp_path / "x", 5) == b"12345"
    with pytest.raises(OSError, match="5 bytes; at most 4 are read"):
        read_file(tmp_path / "x", 4)


@pytest.mark.parametrize("refused", ["listen.audio.write.write_clip", "listen.durable.append"])
def test_an_import_that_the_disk_refuses_leaves_neither_part_nor_clip(
    refused: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The file it came from is still there: nothing is to be offered as left over."""

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    write_clip(tmp_path / "x.flac", Clip.of(np.full(4_800, 0.25), 48_000))
    with create_job(tmp_path / "jobs", title="t") as opened:
        part = opened.new_part(begin_round(opened, 1), "intake", "quiet", "quiet")
        monkeypatch.setattr(refused, full)
        with pytest.raises(JobError, match="disk is full"):
            opened.keep_file(tmp_path / "x.flac", part)
        left = [p.name for p in opened.folder.rglob("*") if p.suffix in (".part", ".flac", ".tmp")]
    assert left == []


def test_nothing_is_appended_to_a_file_of_another_length(tmp_path: Path) -> None:
    """The last guard, below the turns at writing: whoever else wrote, no line is put after theirs unread."""
    (tmp_path / "journal.jsonl").write_bytes(b"one\ntwo\n")
    with pytest.raises(JobError, match="is 8 bytes long and not 4"):
        durable.append(tmp_path / "journal.jsonl", b"three\n", 4)
    assert (tmp_path / "journal.jsonl").read_bytes() == b"one\ntwo\n"


def test_a_file_that_is_created_is_on_the_disk_whole_and_its_name_after_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[str] = []
    sync = os.fsync

    def noted(fd: int) -> None:
        synced.append("folder" if stat.S_ISDIR(os.fstat(fd).st_mode) else f"{os.fstat(fd).st_size} bytes")
        sync(fd)

    monkeypatch.setattr(os, "fsync", noted)
    durable.replace(tmp_path / "journal.jsonl", b"one line\n")
    assert synced == (["9 bytes"] if os.name == "nt" else ["9 bytes", "folder"])


def test_takes_left_over_are_offered_in_the_order_they_were_taken(tmp_path: Path) -> None:
    """Their walks and takes are numbered as they come in."""
    with create_job(tmp_path / "jobs", title="t") as opened:
        round_id = begin_round(opened, 1)
        parts = [opened.new_part(round_id, "intake", "quiet", "quiet") for _ in range(3)]
        for n, part in ((2, parts[0]), (0, parts[1]), (1, parts[2])):
            leave_part(part.path)
            os.utime(part.path, (1_780_000_000 + n, 1_780_000_000 + n))
        assert [p.clip for p in opened.partials()] == [parts[1].clip, parts[2].clip, parts[0].clip]


def test_a_journal_of_the_same_length_put_in_place_of_ours_is_not_written_to(tmp_path: Path) -> None:
    with create_job(tmp_path, title="t") as opened:
        opened.append(ev.NoteAdded(text="one"))
        journal = opened.folder / "journal.jsonl"
        events = read_events(journal.read_bytes())
        events[-1]["payload"]["text"] = "two"
        other = relink(events)
        assert len(other) == journal.stat().st_size
        journal.write_bytes(other)
        os.utime(journal, (1_780_000_000, 1_780_000_000))
        with pytest.raises(JobError, match="is not the journal that was opened"):
            opened.append(ev.NoteAdded(text="three"))
        assert journal.read_bytes() == other
