"""A job in psi is told everything in psi: diagnosis, doubts, and what changed since an earlier job."""

from __future__ import annotations

import msgspec

from listen.jobs.answers import typed
from listen.jobs.before_after import compare
from listen.jobs.engine_case import diagnosed
from listen.jobs.events import JobNamed
from listen.jobs.folder.store import open_job
from listen.lab.shipped import demo_job


def test_everything_is_told_in_psi(tmp_path) -> None:
    with open_job(demo_job(tmp_path)) as opened:
        before = opened.job
        job = opened.append(JobNamed(pressure_unit="psi"))
    told = msgspec.json.encode(diagnosed(job)).decode()
    assert "131 psi, 73 % of 180 psi" in told and "131 dry, 135 psi wet" in told
    assert "kPa" not in told and "kPa" in msgspec.json.encode(diagnosed(before)).decode()
    doubt = typed("compression-wet", "90", job, 5)[1][-1]
    assert doubt.text.startswith("wet 90 psi is below dry 131 psi")
    (dry,) = [c for c in compare(before, job).cylinders[0].changes if c.what == "compression-dry"]
    assert (dry.unit, round(dry.before), round(dry.after)) == ("psi", 180, 180)
