"""Protects what is added beside other things: by two threads, cut short by a crash, under names that are no text."""

from __future__ import annotations

import os
import sys
import threading
from pathlib import Path

import numpy as np
import pytest

from listen.audio.write import write_clip
from listen.errors import JobError
from listen.jobs import events as ev
from listen.jobs.bring_in import Recording, bring_in, recordings_in
from listen.jobs.exchange.verification import Against
from listen.jobs.exchange.verify import verify_job
from listen.jobs.folder.chain import read_journal
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.store import create_job, open_job
from listen.signal.clip import Clip
from listen.trade.points import Kind
from tests.jobs.made import leave_part
from tests.jobs.short import begin_round, note_texts

NOISE = Clip.of(np.random.default_rng(0).normal(0.0, 0.01, 48_000), 48_000)


def test_two_threads_add_to_one_journal(tmp_path: Path) -> None:
    """An import in its thread and keys on the screen: every event is there, and the chain holds."""
    refused: list[Exception] = []
    with create_job(tmp_path, title="t") as opened:

        def note(who: int) -> None:
            try:
                for i in range(30):
                    opened.append(ev.NoteAdded(text=f"{who} {i}"))
            except JobError as e:
                refused.append(e)

        threads = [threading.Thread(target=note, args=(n,)) for n in range(3)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert not refused
        chain = read_journal(opened.folder)
        assert not chain.broken
        assert len(chain.lines) == 1 + 90 and len(note_texts(opened.job)) == 90


def test_dropping_a_take_takes_the_clip_of_a_crash_along(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Killed between the clip and its event, then dropped: nothing is left that nobody knows of."""
    with create_job(tmp_path, title="t") as opened:
        part = opened.new_part(begin_round(opened, 1), "intake", "quiet", "quiet")
        leave_part(part.path)
        with monkeypatch.context() as crash, pytest.raises(KeyboardInterrupt):
            crash.setattr(OpenJob, "append", _killed)
            opened.keep(part)
    with open_job(opened.folder) as again:
        again.drop(again.partials()[0])
        assert list(again.clips.iterdir()) == []
        assert verify_job(again.folder, Against(judge=None)).ok


def test_a_file_that_cannot_be_written_down_leaves_no_clip(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The journal refuses after the clip was written: the job is as it was, on disk too."""
    file = tmp_path / "phone.flac"
    write_clip(file, NOISE)
    with create_job(tmp_path / "jobs", title="t") as opened:
        round_id = begin_round(opened, 1)
        with monkeypatch.context() as full, pytest.raises(JobError):
            full.setattr(OpenJob, "append", _refused)
            bring_in(opened, round_id, [Recording(file, 1.0, point="intake")])
        assert list(opened.clips.iterdir()) == []


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere file names are text")
def test_names_that_are_no_text_come_in(tmp_path: Path) -> None:
    """A folder and a file named on an old machine: question marks stand for what is no UTF-8."""
    folder = Path(os.fsdecode(os.fsencode(tmp_path) + b"/ph\xe4n"))
    folder.mkdir()
    odd = folder / os.fsdecode(b"ger\xe4usch.flac")
    write_clip(folder / "intake-quiet-1.flac", NOISE)
    with create_job(tmp_path / "jobs", title="t") as opened:
        round_id = begin_round(opened, 1)
        event = bring_in(opened, round_id, recordings_in(folder).recordings)
        assert event.folder.endswith("/ph?n") and event.files == ("intake-quiet-1.flac",)
        write_clip(odd, NOISE)
        assert not recordings_in(folder).named
        assert bring_in(opened, round_id, [Recording(odd, 1.0, point="intake", kind=Kind.AIR)]).files == (
            "ger?usch.flac",
        )
        assert len(opened.job.round(round_id).live_clips()) == 2


def _killed(*_: object, **__: object) -> None:
    raise KeyboardInterrupt


def _refused(*_: object, **__: object) -> None:
    raise JobError("journal.jsonl: cannot write to the journal: the disk is full; make room and try again")
