"""One job that two programs have open: random acts on both, one killed now and then; nothing is lost, all is seen.

Run as a program (``python -m tests.soak.pair FOLDER NAME SECONDS SEED``) it is one of the two: it says on stdout, one
line of JSON each, which event it was told is on disk, and after how many seconds it saw one of the other's.
"""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
import threading
import time
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import msgspec

from listen.errors import JobChanged, JobError, JobLocked
from listen.jobs import events as ev
from listen.jobs.exchange.sign import sign_round
from listen.jobs.exchange.verify import verify_job
from listen.jobs.folder.chain import read_journal
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.store import open_job
from listen.jobs.to_round import judged, to_round
from tests.jobs.shop import POINTS, QUICK, quick_judge, record, small_job

LOOK_S = 1.0
"""How often a screen looks; see tui.bridge.others."""
PAUSE_S = (0.05, 1.2)
KILL_AFTER_S = (15.0, 60.0)
SEEN_WITHIN_S = 5.0
"""Bar; a look every second, a write, and a machine that others use too."""


class Pair(msgspec.Struct, frozen=True, kw_only=True):
    """What an hour of it came to."""

    seconds: float
    events: int
    clips: int
    refused: int
    """Decisions, signatures and results on what had not been seen, and clips while the other recorded."""
    killed: int
    seen_s: tuple[float, float]
    """Median and longest time until the other's event was seen."""
    faults: tuple[str, ...]

    @property
    def well(self) -> bool:
        """Whether nothing was lost and all was seen in time."""
        return not self.faults and self.seen_s[1] <= SEEN_WITHIN_S


def pair(root: Path, seconds: float, seed: int) -> Pair:
    """Let both work, kill one now and then, and look at the journal."""
    folder, end, rng = small_job(root), time.monotonic() + seconds, random.Random(seed)
    said: list[dict[str, Any]] = []
    killed = [0]

    def keep_one_going(name: str) -> None:
        life = 0
        while (left := end - time.monotonic()) > 0:
            life += 1
            command = [sys.executable, "-m", "tests.soak.pair", folder, name, str(left), f"{seed}/{name}/{life}"]
            one = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parents[2])
            late = threading.Timer(rng.uniform(*KILL_AFTER_S), one.kill)
            late.start()
            assert one.stdout is not None
            for line in one.stdout:
                with suppress(ValueError):  # killed in the middle of a line
                    said.append(json.loads(line))
            code = one.wait()
            late.cancel()
            killed[0] += code == -9
            if code not in (0, -9):
                said.append({"fault": f"{name} ended with {code}"})

    both = [threading.Thread(target=keep_one_going, args=(name,)) for name in ("Ann", "Ida")]
    for thread in both:
        thread.start()
    for thread in both:
        thread.join()
    seen = sorted(s["saw"] for s in said if "saw" in s) or [0.0]
    chain = read_journal(folder)
    return Pair(
        seconds=seconds,
        events=len(chain.lines),
        clips=sum(isinstance(e.payload, ev.ClipKept) for e in chain.events()),
        refused=sum("refused" in s for s in said),
        killed=killed[0],
        seen_s=(seen[len(seen) // 2], seen[-1]),
        faults=(*(s["fault"] for s in said if "fault" in s), *_lost(folder, said)),
    )


def _lost(folder: Path, said: list[dict[str, Any]]) -> list[str]:
    there = {e.id for e in read_journal(folder).events()}
    lost = [f"event {i} was acknowledged and is gone" for s in said for i in s.get("did", ()) if i not in there]
    found = verify_job(folder, QUICK)
    return [*lost, *(f"verify: {m.what} {m.name}: {m.text}" for m in found.mismatches if not _killed(m.text))]


def _killed(text: str) -> bool:
    """A clip that was on disk before its event, when its program was killed: offered again, nothing lost."""
    return text == "no event speaks of this file"


def table(found: Pair) -> str:
    """The figures in words."""
    lines = [
        f"{found.seconds:.0f} s on one job: {found.events} events, {found.clips} clips, {found.refused} acts refused, "
        f"{found.killed} programs killed",
        f"  seen by the other after {found.seen_s[0]:.2f} s (median), {found.seen_s[1]:.2f} s (longest)",
        *(f"  FAULT {f}" for f in found.faults),
        "nothing was lost, all was seen in time" if found.well else "NOT WELL",
    ]
    return "\n".join(lines) + "\n"


def say(**what: Any) -> None:
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


def act(opened: OpenJob, name: str, rng: random.Random) -> None:
    """One thing a person does."""
    record_of = opened.job.rounds[0]
    where: dict[str, Any] = {"round_id": record_of.id, "name": name}
    loss = rng.randrange(5, 60)
    match rng.randrange(9):
        case 0 | 1:
            opened.append(ev.NoteAdded(text="x" * rng.randrange(1, 20_000)))
        case 2:
            opened.append(ev.ReadingEntered(reading="loss", value=loss, unit="percent", si=float(loss), cylinder=1))
        case 3:
            opened.append(ev.Confirmed(blind=False, **where))
        case 4:
            opened.append(ev.Overruled(paths=("rings",), reason="heard it", **where))
        case 5:
            sign_round(opened, record_of.id, name=name)
        case 6:
            opened.append(
                judged(opened.job, record_of.id, quick_judge(to_round(opened.job, record_of.id, opened.folder)))
            )
        case 7:
            record(opened, record_of.id, rng.choice(POINTS), "air", "air", rng.randrange(10**6))
        case 8:
            for clip in record_of.live_clips()[4:8]:
                opened.append(ev.ClipTakenBack(clip=clip.id, reason="again"))
            opened.leave_bench()


def work(folder: Path, name: str, seconds: float, seed: str) -> None:
    """Act after act, and a look every second."""
    rng, end, looked = random.Random(seed), time.monotonic() + seconds, 0.0
    while True:
        try:
            opened = open_job(folder, bench=False, actor=name)
            break
        except JobLocked:  # a machine so busy that the other one kept its turn for seconds
            say(refused=1)
    known = {e.id for e in opened.chain.events()}
    while time.monotonic() < end:
        before = len(opened.chain.lines)
        try:
            act(opened, name, rng)
        except (JobChanged, JobLocked):
            say(refused=1)
        except JobError as e:
            if "has signed this round already" not in str(e):
                say(fault=f"{name}: {e}")
        others = {e.id: e.time for e in opened.take_news() if e.actor != name}
        mine = [line.event.id for line in opened.chain.lines[before:] if line.event.actor == name]
        say(did=mine)
        pause = time.monotonic() + rng.uniform(*PAUSE_S)
        while time.monotonic() < pause:
            time.sleep(0.05)
            if time.monotonic() - looked >= LOOK_S:
                looked = time.monotonic()
                opened.catch_up()
                others |= {e.id: e.time for e in opened.take_news() if e.actor != name}
        now = datetime.now(UTC)
        for i, at in others.items():
            if i not in known:
                say(saw=(now - datetime.fromisoformat(at)).total_seconds())
        known |= others.keys()
    os._exit(0)


if __name__ == "__main__":
    work(Path(sys.argv[1]), sys.argv[2], float(sys.argv[3]), sys.argv[4])
