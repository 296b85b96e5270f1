"""Teardowns that count: off until 30, never a job's own, kept in the result, and judged again the same elsewhere."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import msgspec
import pytest

from listen.errors import JobError
from listen.jobs import events as ev
from listen.jobs.exchange.verification import Mismatch
from listen.jobs.exchange.verify_results import check_results
from listen.jobs.fold import fold
from listen.jobs.folder.store import open_job
from listen.jobs.job import Job
from listen.jobs.teardowns import FILE, LEAST, Torn, count_no_more, counting, let_count, seen, torn_down, with_teardowns
from listen.jobs.to_round import judged, to_round
from listen.judge.result import RoundResult, ShopSeen
from listen.rounds.model import Round
from listen.trade.restrictor import leak_mm
from tests.jobs.made import opened, result
from tests.jobs.shop import quick_judge, small_job

MANY = tuple(Torn(job=f"{n + 1:032x}", cylinder=1, paths=("rings",), log_mm=0.4) for n in range(LEAST))


def torn(*paths: str, kind: str = "path", simulated: bool = False) -> Job:
    reading = {"cylinder": 2, "round_id": "r"}
    payloads = [
        opened(simulated=simulated),
        ev.RoundOpened(round_id="r", cylinder=2),
        ev.ReadingEntered(reading="loss", value=30, unit="percent", si=30.0, **reading),
        ev.ReadingEntered(reading="supply", value=550, unit="kPa", si=550.0, **reading),
        ev.ReadingEntered(reading="restrictor", value=1, unit="mm", si=1.0, **reading),
        ev.Judged(round_id="r", result=result(kind), clips=()),
        ev.FindingRecorded(cylinder=2, paths=paths),
    ]
    return fold(ev.Event(id=f"e{n}", time="", actor="", payload=p, line="") for n, p in enumerate(payloads))


def test_a_finding_counts_with_the_hole_its_loss_stands_for() -> None:
    (one,) = torn_down([torn("rings"), torn("rings", simulated=True)])
    assert one.paths == ("rings",) and one.log_mm == pytest.approx(math.log(leak_mm(30.0, 1.0, 550.0)))
    assert [t.log_mm for t in torn_down([torn("rings", kind="set-up")])] == [None]
    assert torn_down([torn("a-path-of-next-year")]) == ()


def test_off_until_thirty_are_left_without_the_jobs_own(tmp_path: Path) -> None:
    assert LEAST == 30
    with pytest.raises(JobError, match=r"29 teardowns .* from 30 on"):
        let_count(tmp_path, MANY[:-1], "Ann")
    assert counting(tmp_path) is None
    let_count(tmp_path, MANY, "Ann")
    assert seen(MANY, "another") is not None
    assert seen(MANY, MANY[3].job) is None
    assert seen((*MANY, replace_job("x")), MANY[3].job) == seen((*MANY[:3], *MANY[4:], replace_job("x")), "another")


def replace_job(name: str) -> Torn:
    return Torn(job=name, cylinder=1, paths=("rings", "intake-valve"))


def test_counts_are_halves_of_pairs_and_moments_of_losses() -> None:
    found = seen((*MANY, replace_job("x")), "another")
    assert found is not None and found.findings == 31
    intake, rings = found.causes
    assert (intake.path, intake.times, intake.losses) == ("intake-valve", 0.5, 0)
    assert (rings.path, rings.times, rings.losses, rings.mean_log_mm, rings.squares) == ("rings", 30.5, 30, 0.4, 0.0)


def test_nothing_counts_until_somebody_lets_it_and_no_more_after(tmp_path: Path) -> None:
    job, round_ = torn("rings"), Round("r", ())
    assert with_teardowns(round_, job, tmp_path).shop is None
    let_count(tmp_path, MANY, "Ann")
    with_shop = with_teardowns(round_, job, tmp_path).shop
    assert with_shop is not None and with_shop.findings == 30
    assert with_teardowns(round_, torn("rings", simulated=True), tmp_path).shop is None
    count_no_more(tmp_path)
    assert with_teardowns(round_, job, tmp_path).shop is None
    (tmp_path / FILE).write_bytes(b'{"findings": [[[')
    assert counting(tmp_path) is None


def counts_in(round_: Round) -> RoundResult:
    """A judge whose figure shows whether the shop's counts reached it."""
    said = quick_judge(round_)
    sure = said.verdict.probability * (0.5 if round_.shop else 1.0)
    return msgspec.structs.replace(
        said, shop=round_.shop, verdict=msgspec.structs.replace(said.verdict, probability=sure)
    )


def test_another_machine_judges_the_same_by_the_counts_in_the_result(tmp_path: Path) -> None:
    folder = small_job(tmp_path / "a", judge=counts_in)
    let_count(folder.parent, MANY, "Ann")
    with open_job(folder) as bench:
        round_id = bench.job.rounds[0].id
        round_ = with_teardowns(to_round(bench.job, round_id, folder), bench.job, folder.parent)
        bench.append(judged(bench.job, round_id, counts_in(round_)))
    folder.rename(tmp_path / "elsewhere")  # away from the file beside the jobs
    with open_job(tmp_path / "elsewhere", write=False) as there:
        told, results, _ = check_results(tmp_path / "elsewhere", there.chain, counts_in)
    assert all(isinstance(one, str) for one in told) and results == 2
    assert any("30 teardowns of its shop count in it" in one for one in told)


def test_a_result_that_counts_too_few_teardowns_is_a_mismatch(tmp_path: Path) -> None:
    folder = small_job(tmp_path, judge=counts_in)
    few = ShopSeen(findings=3, causes=())
    with open_job(folder) as bench:
        round_id = bench.job.rounds[0].id
        round_ = replace(to_round(bench.job, round_id, folder), shop=few)
        bench.append(judged(bench.job, round_id, counts_in(round_)))
        told, _, _ = check_results(folder, bench.chain, counts_in)
    assert [f.text for f in told if isinstance(f, Mismatch)] == [
        "it counts 3 teardowns of its shop; from 30 on they may count"
    ]
