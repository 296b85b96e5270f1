"""Protects the promise that what was acknowledged is on disk: writers are killed at random moments."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from listen.durable import sha256_of
from listen.jobs.folder.store import open_job
from tests.jobs.short import note_texts

TRIALS = 40


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system has no fork to start and kill writers with")
def test_every_acknowledged_event_survives_a_kill(tmp_path: Path) -> None:
    """Writers killed at seeded moments: each acknowledged note and clip is there, whole, and writing goes on."""
    program = Path(__file__).with_name("killed_writer.py")
    here = {**os.environ, "PYTHONPATH": str(program.parents[2]), "OMP_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, program, tmp_path, str(TRIALS), "7"], env=here, capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
    trials = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(trials) == TRIALS
    assert sum(len(t["acknowledged"]) for t in trials) > 5 * TRIALS, "the writers must have had time to write"
    for trial in trials:
        _check(Path(trial["folder"]), trial["acknowledged"])


def _check(folder: Path, acknowledged: list[str]) -> None:
    with open_job(folder) as opened:
        job = opened.job
        notes = {" ".join(text.split()[:2]) for text in note_texts(job)}
        clips = {c.id: c.kept for r in job.rounds for c in r.clips}
        for said in acknowledged:
            kind, what = said.split()
            if kind == "note":
                assert said in notes
            else:
                assert sha256_of(opened.clip_path(what)) == clips[what].sha256
        for part in opened.partials():
            opened.drop(part)
        assert opened.partials() == ()
