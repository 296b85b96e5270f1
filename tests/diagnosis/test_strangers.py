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
from collections import Counter

import pytest
from door import job_of
from worked import HERE, case_of, wrong

from listen.diagnosis.diagnose import diagnose
from listen.jobs.engine_case import engine_case

STRANGERS = tomllib.loads((HERE / "strangers.toml").read_text("utf-8"))["case"]
LAST = tomllib.loads((HERE / "last.toml").read_text("utf-8"))["case"]


@pytest.mark.parametrize("data", STRANGERS, ids=[c["title"] for c in STRANGERS])
def test_an_engine_entered_as_a_user_does_is_diagnosed_as_a_mechanic_would(data):
    assert wrong(data, diagnose(engine_case(job_of(data)))) == {}


def test_the_last_engines_are_only_counted():
    """First count, never adjusted to: right lead 43 of 44; the other names the cause but not its cylinder."""
    mistakes = Counter(kind for data in LAST for kind in wrong(data, diagnose(engine_case(job_of(data)))))
    assert mistakes["lead"] <= 0.15 * len(LAST), mistakes
    barred = ("sure", "invented", "missing", "false-stop", "no-stop", "harm", "absent")
    assert {kind: mistakes[kind] for kind in barred if mistakes[kind]} == {}


@pytest.mark.parametrize("unit", ["psi", "bar"])
def test_it_does_not_matter_in_which_unit_a_gauge_is_read(unit):
    assert [data["title"] for data in STRANGERS if wrong(data, diagnose(engine_case(job_of(data, unit))))] == []


@pytest.mark.parametrize("left_out", ["dry", "wet", "loss", "heard", "plugs", "facts", "on", "figures", "made"])
def test_with_less_entered_nothing_wrong_is_stated_above_90_percent(left_out):
    """An engine of which a whole kind of evidence was never entered: the fault may be missed, not denied."""
    for data in (*STRANGERS, *LAST):
        if left_out in data:
            less = {key: value for key, value in data.items() if key not in (left_out, "order")}
            assert "sure" not in wrong(less, diagnose(case_of(less))), data["title"]
