"""Protects the diagnosis on engines it had never seen, entered through the journal as a user enters them.

First count of the 72 engines that come first in strangers.toml, before anything was mended to one of them: right
lead 65, half right (a second fault missed) 1, wrong lead above 90 % none, stated above 90 % 33 of which right 33,
invented faults 0, "do not start" neither false nor missing. First count of the 44 behind them: right lead 42 (the
two others: nothing found at 93 % beside metal on a plug; a reading with nothing to hold it against), stated above
90 % 18 of which right 17, two low cylinders of different banks named one by one, which their line then allowed, "do
not start" neither false nor missing.
"""

from __future__ import annotations

import tomllib

import pytest
from door import job_of
from worked import HERE, wrong

from listen.diagnosis.diagnose import diagnose
from listen.jobs.engine_case import engine_case

STRANGERS = tomllib.loads((HERE / "strangers.toml").read_text("utf-8"))["case"]


@pytest.mark.parametrize("data", STRANGERS, ids=[c["title"] for c in STRANGERS])
def test_an_engine_entered_as_a_user_does_is_diagnosed_as_a_mechanic_would(data):
    assert wrong(data, diagnose(engine_case(job_of(data)))) == {}
