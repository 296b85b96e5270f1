"""The fuzzer's doors for jobs: journals, their summaries, bags from elsewhere, and reports made of them."""

from __future__ import annotations

import json
import random
from pathlib import Path

from tests.fuzz.mutate import SCRIPT
from tests.fuzz.text import json_like
from tests.jobs.short import note_texts


def journal_seeds(room: Path) -> list[bytes]:
    from tests.fuzz.seeds import seed_job

    return [(seed_job(room / "seed") / "journal.jsonl").read_bytes()]


def _job_of(data: bytes, room: Path) -> Path:
    folder = room / "jobs" / "job"
    folder.mkdir(parents=True)
    (folder / "journal.jsonl").write_bytes(data)
    return folder


def read_journal(data: bytes, room: Path) -> None:
    from listen.errors import HisswayError
    from listen.jobs.events import NoteAdded
    from listen.jobs.folder.store import list_jobs, open_job
    from listen.jobs.to_round import to_round
    from listen.jobs.walk import walked

    folder = _job_of(data, room)
    list_jobs(folder.parent)
    job = open_job(folder, write=False).job
    for record in job.rounds:
        walked(job, record.id)
        try:
            to_round(job, record.id, folder)
        except HisswayError:
            pass  # a round that cannot be judged is an answer; the other rounds are still tried
    with open_job(folder) as opened:
        opened.append(NoteAdded(text="still writable"))
    if "still writable" not in note_texts(open_job(folder, write=False).job):
        raise AssertionError("a note that was acknowledged is not there")


def read_report(data: bytes, room: Path) -> None:
    from listen.report.build import Wanted, report_text
    from tests.fuzz.seeds import seed_job

    folder = seed_job(room / "jobs" / "job")
    (folder / "journal.jsonl").write_bytes(data)
    if SCRIPT in report_text(folder, Wanted("html", audio=False)):
        raise AssertionError("words from the journal became part of the page's program")
    report_text(folder, Wanted("md"))
    json.loads(report_text(folder, Wanted("json")), parse_constant=_no_constant)


def _no_constant(name: str) -> None:
    raise AssertionError(f"{name} in JSON")


def summary_seeds(room: Path) -> list[bytes]:
    from listen.jobs.folder.store import list_jobs
    from tests.fuzz.seeds import seed_job

    folder = seed_job(room / "jobs" / "job")
    list_jobs(folder.parent)
    return [(folder / "job.json").read_bytes()]


def summary(rng: random.Random, seeds: list[bytes]) -> bytes:
    return json_like(json.loads(seeds[0]))(rng, seeds)


def read_summary(data: bytes, room: Path) -> None:
    from listen.jobs.folder.store import list_jobs, open_job
    from tests.fuzz.seeds import seed_job

    folder = seed_job(room / "jobs" / "job")
    (folder / "job.json").write_bytes(data)
    list_jobs(folder.parent)
    open_job(folder).close()


def bag_seeds(room: Path) -> list[bytes]:
    from listen.jobs.exchange.pack import pack
    from tests.fuzz.seeds import seed_job

    pack(seed_job(room / "seed-jobs" / "job"), room / "seed.zip")
    return [(room / "seed.zip").read_bytes()]


def read_bag(data: bytes, room: Path) -> None:
    from listen.jobs.exchange.unpack import unpack
    from listen.jobs.folder.store import list_jobs

    path = room / "from-outside.zip"
    path.write_bytes(data)
    try:
        unpack(path, room / "jobs")
    finally:
        list_jobs(room / "jobs")
