"""Every number that a job stores has a least and a most; beyond them it is not understood, and costs nothing."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import msgspec
import msgspec.inspect as form
import pytest

from listen.jobs.engine_case import NO_POINT, QUIET, heard
from listen.jobs.events import KINDS, Judged
from listen.jobs.job import RoundRecord
from listen.judge.result import PathResult
from listen.trade.engine import Engine
from tests.fuzz.mutate import read_events, relink
from tests.fuzz.seeds import seed_job
from tests.jobs import made


def unbounded(kind: Any, where: str, seen: set[type]) -> list[str]:
    """Places of numbers under a type that lack a least or a most."""
    if isinstance(kind, form.IntType | form.FloatType):
        ends = ((kind.ge, kind.gt), (kind.le, kind.lt))
        return [] if all(any(end is not None for end in pair) for pair in ends) else [where]
    if isinstance(kind, form.StructType):
        if kind.cls in seen or kind.cls is Engine:  # an engine refuses numbers beyond 1 to 99 by itself
            return []
        seen.add(kind.cls)
        return [bad for field in kind.fields for bad in unbounded(field.type, f"{where}.{field.name}", seen)]
    inner = [*getattr(kind, "types", ()), *(getattr(kind, "item_types", ()) or ())]
    inner += [t for name in ("item_type", "value_type") if (t := getattr(kind, name, None)) is not None]
    return [bad for t in inner for bad in unbounded(t, where, seen)]


@pytest.mark.parametrize("kind", KINDS)
def test_no_number_of_an_event_is_without_bounds(kind: str) -> None:
    assert unbounded(form.type_info(KINDS[kind]), kind, set()) == []


def test_the_look_through_the_forms_sees_a_number_without_bounds() -> None:
    class Loose(form.msgspec.Struct):
        inside: dict[str, tuple[float, ...]]

    assert unbounded(form.type_info(Loose), "loose", set()) == ["loose.inside"]


REPORTS = """
import json, sys
from pathlib import Path
from listen.report.build import Wanted, report_text
from listen.jobs.folder.store import list_jobs, open_job
folder = Path(sys.argv[1])
open_job(folder, write=False)
list_jobs(folder.parent)
text = report_text(folder, Wanted("html", audio=False))
# not ru_maxrss: Linux counts the peak of the process that started this one into it
status = Path("/proc/self/status").read_text().splitlines()
peak_kb = next(int(line.split()[1]) for line in status if line.startswith("VmHWM"))
json.dump([len(text), peak_kb / 1e3], sys.stdout)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_a_received_job_with_an_excess_of_three_hundred_million_decibels_costs_no_memory(tmp_path: Path) -> None:
    """It took 6.7 GB: the scale was drawn from end to end."""
    folder = seed_job(tmp_path / "jobs" / "job")
    journal = folder / "journal.jsonl"
    events = read_events(journal.read_bytes())
    results = [e["payload"]["result"] for e in events if e["kind"] == "judged"]
    assert results
    for result in results:
        result["points"][0]["excess_db"] = 3e8
    journal.write_bytes(relink(events))
    command = [sys.executable, "-c", REPORTS, str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    size, peak_mb = json.loads(done.stdout)
    assert size > 1000
    assert peak_mb < 250


@pytest.mark.parametrize(("term_db", "share"), [(-1e6, 0.0), (-3500.0, 0.0), (0.0, 0.5), (3500.0, 1.0), (1e6, 1.0)])
def test_evidence_as_far_as_it_may_go_is_a_probability(term_db: float, share: float) -> None:
    """Below -3083 decibans it was an overflow."""
    path = PathResult(path="next-cylinder", probability=0.2, evidence_db={NO_POINT[0]: term_db})
    found = msgspec.structs.replace(made.result(), paths=(path,))
    record = RoundRecord(id="r", cylinder=1, judged=(Judged(round_id="r", result=found, clips=()),))
    assert heard(record)["next-cylinder"] == pytest.approx(min(share, QUIET), abs=1e-9)
