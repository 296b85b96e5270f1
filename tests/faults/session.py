"""Run as a program under the faulty disk: a working session for each fault asked for, then the job opened again.

Reads one line of JSON a case from stdin (``folder``, ``at``, ``kind``) and answers each with one: what was said, how it
ended, how many operations it came to, and how opening the job again went.
"""

from __future__ import annotations

import ctypes
import json
import os
import signal
import sys
import threading
import traceback
from collections.abc import Callable
from pathlib import Path

from listen.audio.write import write_clip
from listen.errors import ClipError, HisswayError
from listen.jobs import events as ev
from listen.jobs.bring_in import Recording, bring_in
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.store import create_job, list_jobs, open_job
from listen.signal.clip import Clip
from tests.crash.session import RATE_HZ, NoiseSource
from tests.jobs.short import begin_round, note_texts

TAKE_S = 0.6
"""Long enough to be synced once on the way."""
LONGEST_S = 120
"""A session that takes longer hangs: it lasts 2 s, on a machine with eight busy programs a core 40 s."""

Say = Callable[[str], None]


def session(jobs: Path, phone: Path, say: Say) -> None:
    """A job taken in, notes, two takes, a clip brought in; what the disk refuses is told, then the next is tried."""
    opened: OpenJob | None = None

    def attempt(step: Callable[[], str]) -> None:
        try:
            said = step()
        except (HisswayError, OSError) as error:
            if isinstance(error, OSError) and step is not take:  # only a microphone's own part may fail so
                raise
            say(f"told {error}")
        else:
            say(said)

    def start() -> str:
        nonlocal opened
        opened = create_job(jobs, title="faults")
        return f"job {opened.folder.name}"

    def begin() -> str:
        assert opened
        return f"round {begin_round(opened, 1)}"

    def note() -> str:
        assert opened
        opened.append(ev.NoteAdded(text=f"note {len(opened.chain.lines)}"))
        return f"note {note_texts(opened.job)[-1]}"

    def take() -> str:
        assert opened
        part = opened.new_part(opened.job.rounds[0].id, "intake", "air", "air")
        recording = NoiseSource(say, 0.0).record(part.path, TAKE_S, threading.Event())
        opened.keep(part, recording)
        return f"clip {part.clip}"

    def bring() -> str:
        assert opened
        bring_in(opened, opened.job.rounds[0].id, [Recording(phone, 1.0, point="intake")])
        return f"clip {opened.job.rounds[0].clips[-1].id}"

    attempt(start)
    if opened is None:
        return
    attempt(begin)
    for step in (note, take, bring, note, take) if opened.job.rounds else (note, note):
        attempt(step)
    opened.close()


def again(jobs: Path, say: Say) -> None:
    """Open the job once more on a sound disk and bring home what was left over; twice, so that nothing grows."""
    for _ in range(2):
        for row in list_jobs(jobs):
            say(f"listed {row.folder} {row.trouble}")
            with open_job(jobs / row.folder) as opened:
                for part in opened.partials():
                    try:
                        opened.keep(part, recovered=True)
                    except ClipError:
                        opened.drop(part)


def _in_a_child(work: Callable[[Say], None]) -> tuple[list[str], int]:
    """What was said by a process of its own, and how it ended: 0, a signal below it, or 7 after a traceback."""
    read_end, write_end = os.pipe()
    pid = os.fork()
    if pid == 0:
        code = 7
        try:
            signal.alarm(LONGEST_S)
            work(lambda line: (os.write(write_end, line.replace("\n", " ").encode() + b"\n"), None)[1])
            code = 0
        except BaseException:  # noqa: BLE001  finding these is the purpose
            os.write(write_end, ("traceback " + traceback.format_exc().replace("\n", " | ") + "\n").encode())
        finally:
            os._exit(code)
    os.close(write_end)
    with os.fdopen(read_end, "rb") as pipe:
        said = [line.decode(errors="replace").rstrip("\n") for line in pipe]
    return said, os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])


def main() -> None:
    """Answer cases until stdin ends."""
    disk = ctypes.CDLL(None)
    disk.faulty_arm.argtypes = (ctypes.c_char_p, ctypes.c_long, ctypes.c_int, ctypes.c_int)
    disk.faulty_count.restype = ctypes.c_long
    import numpy as np

    for line in sys.stdin:
        case = json.loads(line)
        place = Path(case["folder"])
        phone = place / "phone.flac"
        write_clip(phone, Clip.of(np.random.default_rng(1).normal(0, 0.01, RATE_HZ // 2), RATE_HZ))
        jobs = place / "jobs"

        def armed(say: Say, jobs: Path = jobs, phone: Path = phone, case: dict[str, int] = case) -> None:
            disk.faulty_arm(os.fsencode(jobs), case["at"], case["kind"], -1)
            session(jobs, phone, say)
            say(f"operations {disk.faulty_count()}")

        said, ended = _in_a_child(armed)
        later, well = _in_a_child(lambda say, jobs=jobs: again(jobs, say))
        sys.stdout.write(json.dumps({"said": said, "ended": ended, "later": later, "well": well}) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
