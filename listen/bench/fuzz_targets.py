"""What is fed with hostile input: every door of the program through which a stranger's bytes come in."""

from __future__ import annotations

import io
import json
import os
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from listen.bench.fuzz_mutate import SCRIPT, TOKENS, as_json, mutate_bytes, mutate_journal, mutate_json, mutate_zip

Feed = Callable[[bytes, Path], None]
FACTS: dict[str, Any] = {
    "loss_percent": 27.0,
    "supply_kpa": 550,
    "restrictor_mm": 1.0,
    "cylinder": 3,
    "bubbles_seen": True,
    "compression_dry_kpa": 900,
    "compression_wet_kpa": 1050,
    "firing_order": [1, 3, 4, 2],
}


class Target(NamedTuple):
    """One door: how input for it is made and who reads it."""

    make: Callable[[random.Random, list[bytes]], bytes]
    seeds: Callable[[Path], list[bytes]]
    feed: Feed


def _sound_seeds(form: str, subtypes: tuple[str, ...]) -> Callable[[Path], list[bytes]]:
    def seeds(_: Path) -> list[bytes]:
        import numpy as np
        import soundfile

        made = []
        for n, subtype in enumerate(subtypes):
            out = io.BytesIO()
            noise = np.random.default_rng(n).normal(size=(4000, 1 + n % 2)) * 0.05
            soundfile.write(out, noise, (48_000, 16_000)[n % 2], subtype, format=form)
            made.append(out.getvalue())
        return made

    return seeds


def _read_sound(suffix: str) -> Feed:
    def feed(data: bytes, room: Path) -> None:
        import numpy as np

        from listen.audio.files import read_clip, sound_info
        from listen.signal.quality import check_clip
        from listen.signal.spectra import spectra

        path = room / f"intake-air{suffix}"
        path.write_bytes(data)
        clip = read_clip(path)
        if not np.isfinite(clip.samples).all():
            raise AssertionError("a clip that is not finite was let in")
        sound_info(path)
        if clip.seconds < 5:
            check_clip(clip, spectra(clip))

    return feed


def _part_seeds(room: Path) -> list[bytes]:
    from datetime import UTC, datetime

    import numpy as np

    from listen.audio.partial import PartHeader, PartWriter

    path = room / "seed.part"
    with PartWriter(path, PartHeader(48_000, "invented", datetime(2026, 1, 5, tzinfo=UTC))) as writer:
        writer.write(np.random.default_rng(1).normal(size=2000).astype(np.float32), 0)
    data = path.read_bytes()
    path.unlink()
    return [data, data[:1500]]


def _read_part(data: bytes, room: Path) -> None:
    from listen.audio.partial import finish

    part = room / "a.part"
    part.write_bytes(data)
    finish(part, room / "a.flac")


def _facts(rng: random.Random, seeds: list[bytes]) -> bytes:
    if rng.random() < 0.3:
        return mutate_bytes(rng, seeds, TOKENS)
    return as_json(mutate_json(rng, FACTS))


def _read_facts(data: bytes, room: Path) -> None:
    from listen.rounds.evaluate import judge_points
    from listen.rounds.loose import read_folder

    (room / "round.json").write_bytes(data)
    (room / "intake-air-1.flac").write_bytes(b"")
    round_ = read_folder(room)
    if len(data) % 8 == 0:  # judging costs much more than reading
        judge_points("fuzz", _measured(), round_.facts)


_POINTS: list[Any] = []


def _measured() -> list[Any]:
    """Two small points, measured once in this process."""
    if not _POINTS:
        import numpy as np

        from listen.signal.clip import Clip
        from listen.signal.point import measure_point
        from listen.trade.points import Kind

        rng = np.random.default_rng(1)
        for point in ("intake", "radiator"):
            clips = [(k, Clip.of(rng.normal(size=96_000) * 0.01, 48_000)) for k in (Kind.QUIET, Kind.AIR)]
            _POINTS.append(measure_point(point, clips))
    return _POINTS


NAMES = b"intake-quiet-1.flac|intake-air-1.FLAC|plug-hole-2-air-03.wav|radiator-shut.wav|round.json|notes.txt"


def _read_names(data: bytes, room: Path) -> None:
    from listen.rounds.loose import read_folder

    for name in data.split(b"|")[:50]:
        safe = name.replace(b"/", b"_").replace(b"\0", b"_")[:250]
        if safe not in (b"", b".", b"..") and not safe.startswith(b"round.json"):
            Path(os.fsdecode(os.path.join(os.fsencode(room), safe))).write_bytes(b"")  # noqa: PTH118  names as bytes
    read_folder(room)


def _journal_seeds(room: Path) -> list[bytes]:
    from listen.bench.fuzz_seeds import seed_job

    return [(seed_job(room / "seed") / "journal.jsonl").read_bytes()]


def _journal_bytes(rng: random.Random, seeds: list[bytes]) -> bytes:
    return mutate_bytes(rng, seeds, TOKENS)


def _journal_linked(rng: random.Random, seeds: list[bytes]) -> bytes:
    return mutate_journal(rng, seeds[0])


def _job_of(data: bytes, room: Path) -> Path:
    folder = room / "jobs" / "job"
    folder.mkdir(parents=True)
    (folder / "journal.jsonl").write_bytes(data)
    return folder


def _read_journal(data: bytes, room: Path) -> None:
    from listen.errors import HisswayError
    from listen.jobs.events import NoteAdded
    from listen.jobs.store import list_jobs, open_job
    from listen.jobs.to_round import to_round
    from listen.jobs.walk import next_step

    folder = _job_of(data, room)
    list_jobs(folder.parent)
    job = open_job(folder, write=False).job
    for record in job.rounds:
        next_step(job, record.id)
        try:
            to_round(job, record.id, folder)
        except HisswayError:
            pass  # a round that cannot be judged is an answer; the other rounds are still tried
    with open_job(folder) as opened:
        opened.append(NoteAdded(text="still writable"))
    if "still writable" not in open_job(folder, write=False).job.note_texts():
        raise AssertionError("a note that was acknowledged is not there")


def _read_report(data: bytes, room: Path) -> None:
    from listen.bench.fuzz_seeds import seed_job
    from listen.report.build import Wanted, report_text

    folder = seed_job(room / "jobs" / "job")
    (folder / "journal.jsonl").write_bytes(data)
    if SCRIPT in report_text(folder, Wanted("html", audio=False)):
        raise AssertionError("words from the journal became part of the page's program")
    report_text(folder, Wanted("md"))
    json.loads(report_text(folder, Wanted("json")), parse_constant=_no_constant)


def _no_constant(name: str) -> None:
    raise AssertionError(f"{name} in JSON")


def _summary_seeds(room: Path) -> list[bytes]:
    from listen.bench.fuzz_seeds import seed_job
    from listen.jobs.store import list_jobs

    folder = seed_job(room / "jobs" / "job")
    list_jobs(folder.parent)
    return [(folder / "job.json").read_bytes()]


def _summary(rng: random.Random, seeds: list[bytes]) -> bytes:
    if rng.random() < 0.3:
        return mutate_bytes(rng, seeds, TOKENS)
    return as_json(mutate_json(rng, json.loads(seeds[0])))


def _read_summary(data: bytes, room: Path) -> None:
    from listen.bench.fuzz_seeds import seed_job
    from listen.jobs.store import list_jobs, open_job

    folder = seed_job(room / "jobs" / "job")
    (folder / "job.json").write_bytes(data)
    list_jobs(folder.parent)
    open_job(folder).close()


def _bag_seeds(room: Path) -> list[bytes]:
    from listen.bench.fuzz_seeds import seed_job
    from listen.jobs.pack import pack

    pack(seed_job(room / "seed-jobs" / "job"), room / "seed.zip")
    return [(room / "seed.zip").read_bytes()]


def _zip(rng: random.Random, seeds: list[bytes]) -> bytes:
    return mutate_zip(rng, seeds[0])


def _read_bag(data: bytes, room: Path) -> None:
    from listen.jobs.store import list_jobs
    from listen.jobs.unpack import unpack

    path = room / "from-outside.zip"
    path.write_bytes(data)
    try:
        unpack(path, room / "jobs")
    finally:
        list_jobs(room / "jobs")


def _any(rng: random.Random, seeds: list[bytes]) -> bytes:
    return mutate_bytes(rng, seeds)


TARGETS: dict[str, Target] = {
    "wav": Target(_any, _sound_seeds("WAV", ("PCM_16", "PCM_24", "FLOAT", "DOUBLE", "PCM_32")), _read_sound(".wav")),
    "wavex": Target(_any, _sound_seeds("WAVEX", ("PCM_16", "PCM_24", "FLOAT")), _read_sound(".wav")),
    "flac": Target(_any, _sound_seeds("FLAC", ("PCM_16", "PCM_24", "PCM_16")), _read_sound(".flac")),
    "part": Target(_any, _part_seeds, _read_part),
    "round.json": Target(_facts, lambda _: [as_json(FACTS)], _read_facts),
    "names": Target(_any, lambda _: [NAMES], _read_names),
    "journal": Target(_journal_bytes, _journal_seeds, _read_journal),
    "events": Target(_journal_linked, _journal_seeds, _read_journal),
    "job.json": Target(_summary, _summary_seeds, _read_summary),
    "bag": Target(_zip, _bag_seeds, _read_bag),
    "report": Target(_journal_linked, _journal_seeds, _read_report),
}
"""Doors by name."""
