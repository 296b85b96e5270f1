"""Jobs to report on: the shipped demo, and one whose every word is hostile."""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable, Iterator, Sequence
from hashlib import blake2b
from pathlib import Path
from zlib import crc32

import numpy as np
import pytest
from filelock import FileLock

from listen.audio.write import write_clip
from listen.jobs.events import (
    ByEarCalled,
    EngineSize,
    FindingRecorded,
    NoteAdded,
    Overruled,
    PersonChosen,
    PlugSeen,
    PointSkipped,
    ReadingEntered,
    SymptomNoted,
)
from listen.jobs.folder.store import OpenJob, create_job
from listen.lab.shipped import demo_job
from listen.report import drawing, sounds
from listen.report.build import Wanted, report_text
from listen.rounds import switching
from listen.signal.clip import Clip
from listen.trade.engine import Engine, layout
from tests.jobs.short import begin_round

BREAKOUT = "</title></style><script>alert(1)</script>\" onload='x' <img src=http://x.invalid/y>"
HOSTILE = BREAKOUT + " \x00\x1b[31m\u202e\uffff | `*_[]"
"""Breaks out of titles, styles, attributes, tables, terminals; asks the network; turns the reading direction."""


MOST_READ = 64
"""Pairs of clips held at once: those of the demo, and of the largest job; 100 MB."""


def noise(path: Path, seed: int, hiss: float = 0.0, seconds: float = 3.0) -> Path:
    """A shop's rumble, with some hiss."""
    rng = np.random.default_rng(seed)
    n = int(48_000 * seconds)
    spectrum = np.fft.rfft(rng.normal(0, 1, n)) / np.maximum(np.arange(n // 2 + 1), 50) ** 0.5
    rumble = np.fft.irfft(spectrum, n)
    samples = 0.01 * rumble / rumble.std() + hiss * rng.normal(0, 1, n)
    write_clip(path, Clip.of(samples, 48_000))
    return path


def add_pair(job: OpenJob, room: Path, round_id: str, point: str, seed: int) -> None:
    """Quiet and air at one point."""
    for walk, kind, hiss in (("quiet", "quiet", 0.0), ("air", "air", 0.01)):
        file = noise(room / f"{point}-{kind}-{seed}.flac", seed, hiss)
        job.keep_file(file, job.new_part(round_id, point, kind, walk))


def _fingerprint(clip: Clip) -> tuple[object, ...]:
    """Tells clips of these tests apart; to hash every sample took as long as to make the pages."""
    return (
        clip.rate_hz,
        len(clip.samples),
        float(clip.samples.sum(dtype=np.float64)),
        crc32(clip.samples[::32].tobytes()),
    )


@pytest.fixture(scope="session")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that the tests of all processes share."""
    base = tmp_path_factory.getbasetemp()
    room = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "made-once"
    room.mkdir(exist_ok=True)
    return room


@pytest.fixture(scope="session", autouse=True)
def made_once(shared: Path) -> Iterator[None]:
    """What one page had read, encoded or drawn of a pair of clips is there for the next: the same in, the same out.

    What was encoded or drawn is there for the tests in other processes, too.
    """

    def once(make: Callable) -> Callable:
        def made(quiet: Clip, air: Clip) -> object:
            key = repr((make.__name__, *(_fingerprint(clip) for clip in (quiet, air))))
            file = shared / blake2b(key.encode()).hexdigest()
            if not file.exists():
                whole = shared / f"{file.name}.{os.getpid()}"
                whole.write_bytes(pickle.dumps(make(quiet, air)))
                whole.replace(file)
            return pickle.loads(file.read_bytes())

        return made

    pair = switching.pair

    read: dict[tuple, tuple[Clip, Clip]] = {}

    def read_once(files: Sequence[Path], on_s: Sequence[tuple[float, float]] = ()) -> tuple[Clip, Clip]:
        there = [f.stat() for f in files if f.exists()]
        # Not the folder: a job that was copied by links holds the same files.
        state = (*((s.st_ino, s.st_mtime_ns, s.st_size) for s in there), *(f.name for f in files), *on_s)
        if len(there) < len(files) or state not in read:
            if len(read) == MOST_READ:
                del read[next(iter(read))]
            read[state] = pair(files, on_s)
        return read[state]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sounds, "_pair", once(sounds._pair))
        patch.setattr(drawing, "_plot", once(drawing._plot))
        patch.setattr(switching, "pair", read_once)
        yield


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> Path:
    """A copy of the shipped demo job, to be read only."""
    return demo_job(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="session")
def demo_page(demo, shared: Path) -> str:
    """Its report, made by whichever process asks first while the others wait: it takes six seconds of the processor."""
    page = shared / "demo.html"
    with FileLock(shared / "demo.lock"):
        if not page.exists():
            page.write_text(report_text(demo), "utf-8")
    return page.read_text("utf-8")


@pytest.fixture(scope="session")
def hostile(tmp_path_factory) -> Path:
    """A job whose every word means harm."""
    room = tmp_path_factory.mktemp("hostile")
    engine = Engine(name=HOSTILE, layout="v6", rows=((1, 3, 5), (2, 4, 6)), arrangement="vee", firing_order=())
    with create_job(
        room / "jobs", title=HOSTILE, shop=HOSTILE, engine=engine, size=EngineSize(text=HOSTILE), complaint=HOSTILE
    ) as job:
        round_id = begin_round(job, 3, HOSTILE)
        add_pair(job, room, round_id, "intake", 1)
        job.append(
            PersonChosen(role="tech", name=HOSTILE),
            PersonChosen(role=HOSTILE, name=HOSTILE),
            PlugSeen(cylinder=3, conditions=("oil-wet", HOSTILE), text=HOSTILE),
            SymptomNoted(symptom=HOSTILE),
            SymptomNoted(symptom="coolant-loss"),
            NoteAdded(text=HOSTILE),
            NoteAdded(text=HOSTILE, round_id=round_id),
            ReadingEntered(reading="loss", value=40, unit=HOSTILE, si=40, cylinder=3),
            PointSkipped(round_id=round_id, point="tailpipe", reason=HOSTILE),
            ByEarCalled(round_id=round_id, paths=(HOSTILE, "rings"), name=HOSTILE, sure=0.5),
            Overruled(round_id=round_id, name=HOSTILE, paths=(HOSTILE,), reason=HOSTILE),
            FindingRecorded(cylinder=3, paths=("rings",), text=HOSTILE),
        )
        return job.folder


@pytest.fixture(scope="session")
def hostile_page(hostile) -> str:
    """Its report."""
    return report_text(hostile)


@pytest.fixture(scope="session")
def six(tmp_path_factory) -> Path:
    """Six cylinders with a full walk each, as large as a job usually gets."""
    room = tmp_path_factory.mktemp("six")
    points = ("intake", "tailpipe", "oil-filler", "radiator", "plug-hole-1", "breather", "tailpipe-left")
    files = {k: noise(room / f"{k}.flac", 5, h, seconds=5.0) for k, h in (("quiet", 0.0), ("air", 0.02))}
    with create_job(room / "jobs", title="six", engine=layout("inline-6")) as job:
        for n in range(1, 7):
            round_id = begin_round(job, n)
            for p in points:
                for kind in ("quiet", "air"):
                    job.keep_file(files[kind], job.new_part(round_id, p, kind, kind))
        return job.folder


def page_of(folder: Path, **wanted) -> str:
    """A report with options."""
    return report_text(folder, Wanted(**wanted))
