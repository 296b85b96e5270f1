"""A day in one shop: two bays and a supervisor, each a program of its own on its screens, on one shared folder."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from collections import Counter, defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec

from tests.faults import independent
from tests.soak.size import Size, flat, growth

PEOPLE = (("bay", "bay one"), ("bay", "bay two"), ("supervisor", "Ida Moor"))
CHECKOUT = Path(__file__).parents[2]
AFTER_S = 300.0
"""Most a person may need to finish what they began when the day is over."""
VERIFIED = 5
"""Jobs of which every result is judged again at the end, those that changed last."""
SHARED = {".heads", ".archive", ".trash"}
"""Folders beside the jobs that belong there."""


class Day(msgspec.Struct, frozen=True, kw_only=True):
    """What the day came to."""

    seconds: float
    done: dict[str, dict[str, int]]
    """By person: how often they said what (``job`` opened, ``clip`` kept, ``judged``, ``decided``, ``locked``)."""
    grown: dict[str, tuple[float, int, int]]
    """By person: memory as a ratio, handles and threads as a difference."""
    sizes: dict[str, list[Size]]
    faults: tuple[str, ...]

    @property
    def well(self) -> bool:
        """Whether nothing was lost, nothing failed and nothing grew."""
        return not self.faults and len(self.grown) == len(PEOPLE) and all(flat(g) for g in self.grown.values())


def day(root: Path, seconds: float, seed: int) -> Day:
    """Let them work, then look at every job with eyes of our own."""
    jobs = root / "jobs"
    jobs.mkdir()
    said: dict[str, list[dict[str, Any]]] = {name: [] for _, name in PEOPLE}
    errors = {name: root / f"{name}.errors" for _, name in PEOPLE}
    threads = [
        threading.Thread(target=_one, args=(root, role, name, seconds, seed, said[name], errors[name]))
        for role, name in PEOPLE
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    faults = [f"{name}: {what['fault']}" for name, lines in said.items() for what in lines if "fault" in what]
    faults += [f"{name}: never came to the end of the day" for name in said if {"over": True} not in said[name]]
    faults += [f"{name}: {text}" for name, file in errors.items() if (text := _last_words(file))]
    sizes = {name: [tuple(what["size"]) for what in lines if "size" in what] for name, lines in said.items()}
    return Day(
        seconds=seconds,
        done={
            name: dict(Counter(key for what in lines for key in what if key != "size")) for name, lines in said.items()
        },
        grown={name: growth(s) for name, s in sizes.items() if s},
        sizes=sizes,
        faults=(*faults, *_folder_faults(jobs, [what for lines in said.values() for what in lines])),
    )


def _one(root: Path, role: str, name: str, seconds: float, seed: int, said: list[dict[str, Any]], errors: Path) -> None:
    home = root / name.replace(" ", "-")
    home.mkdir()
    # By -c, not -m: an analyst would load the whole main module anew, screens and all, which no hissway's does.
    start = "from tests.soak.people import main; main()"
    command = [sys.executable, "-c", start, role, name, root / "jobs", home, str(seconds), str(seed)]
    env = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "HOME": str(home)}
    env |= {"PYTHONPATH": str(CHECKOUT), "XDG_DATA_HOME": str(home), "XDG_CONFIG_HOME": str(home)}
    with errors.open("wb") as aside:
        person = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=aside, env=env, cwd=CHECKOUT, text=True)
        late = threading.Timer(seconds + AFTER_S, person.kill)
        late.start()
        assert person.stdout is not None
        for line in person.stdout:
            said.append(json.loads(line))
        person.wait()
        late.cancel()


def _counted(lines: list[dict[str, Any]]) -> dict[str, int]:
    return dict(Counter(next(iter(what)) for what in lines if not what.keys() & {"size", "over"}))


def _last_words(errors: Path) -> str:
    text = errors.read_text(errors="replace").strip()
    return text.rpartition("\n")[2][:300]


def _folder_faults(jobs: Path, said: list[dict[str, Any]]) -> Iterator[str]:
    """What was promised and is not there; what is there and nobody needs; what verify finds."""
    promised: dict[str, list[str]] = defaultdict(list)
    decided: dict[str, Counter[str]] = defaultdict(Counter)
    for what in said:
        if "job" in what:
            promised[what["job"]] += [f"clip {what['clip']}"] if "clip" in what else []
            decided[what["job"]].update([what["decided"]] if "decided" in what else [])
    for name in sorted(promised):
        for fault in independent.faults_of(jobs, [f"job {name}", *promised[name]]):
            yield f"{name}: {fault}"
        made = Counter(
            e["payload"]["round_id"]
            for e in independent.events(jobs / name / "journal.jsonl")
            if e["kind"] in ("confirmed", "overruled", "sent-back")
        )
        for round_id, times in decided[name].items():
            if made[round_id] != times:
                yield f"{name}: {times} decisions on {round_id} were made, {made[round_id]} are there"
    strange = {p.name for p in jobs.iterdir()} - set(promised) - SHARED
    yield from (f"left beside the jobs: {name}" for name in sorted(strange))
    yield from _verified(jobs, sorted(promised, key=lambda n: (jobs / n / "journal.jsonl").stat().st_mtime)[-VERIFIED:])


def _verified(jobs: Path, names: list[str]) -> Iterator[str]:
    from listen.jobs.exchange.verify import verify_job

    for name in names:
        for mismatch in verify_job(jobs / name).mismatches:
            yield f"{name}: verify: {mismatch}"


def table(found: Day) -> str:
    """The figures in words and columns."""
    lines = [f"{found.seconds:.0f} s in one shop:"]
    for name, done in found.done.items():
        lines.append(f"  {name}: " + ", ".join(f"{n} {what}" for what, n in sorted(done.items())))
        sizes = found.sizes[name]
        lines += [
            f"    after {n:4} turns {s[0]:7.1f} MB {s[1]:4} handles {s[2]:3} threads"
            for n, s in list(enumerate(sizes, 1))[:: max(1, len(sizes) // 8)]
        ]
        if name in found.grown:
            memory, handles, threads = found.grown[name]
            lines.append(f"    memory grew to {memory:.3f} times, handles by {handles}, threads by {threads}")
        else:
            lines.append("    too little was done to see whether anything grows")
    lines += [f"  FAULT {fault}" for fault in found.faults]
    lines.append("all that was promised is there, and nothing grew" if found.well else "NOT WELL")
    return "\n".join(lines) + "\n"
