"""Jobs as the bench draws them: rounds that share what an engine's rounds share, judged twice over the same clips."""

import numpy as np
import pytest

from listen.bench.accuracy.measured import Measured, clips_of, measure_clips
from listen.lab.simulator.scene import RoundSpec
from listen.lab.simulator.worlds import WORLDS
from tests.bench.whole_jobs import JobScores, job_of, jobs_table, judge_rounds, score


def drawn(world: str, seed: int = 5) -> tuple[RoundSpec, ...]:
    return job_of(WORLDS[world], np.random.default_rng(seed), 4, world)


@pytest.mark.parametrize("world", list(WORLDS))
def test_rounds_of_a_job_share_engine_shop_and_microphone_and_not_what_is_wrong(world: str) -> None:
    rounds = [spec for seed in range(8) for spec in drawn(world, seed)]
    for seed in range(8):
        job = drawn(world, seed)
        assert all(s.microphone == job[0].microphone and s.background.parts == job[0].background.parts for s in job)
        assert {spec.facts.cylinder for spec in job} <= {None, *range(1, 5)}
        assert len({spec.seed for spec in job}) == len(job)
        assert len({spec.facts.restrictor_mm for spec in job} - {None}) <= 1
    assert len({spec.truth.causes for spec in rounds}) > 8
    assert drawn(world) == drawn(world)


def test_blow_by_of_one_engine_lies_closer_than_that_of_many() -> None:
    """What there is to learn: the spread within a job is a fraction of that over all engines."""
    jobs = [[spec.truth.blow_by_db for spec in drawn("mouth", seed)] for seed in range(20)]
    within = float(np.mean([np.std(job) for job in jobs]))
    over_all = float(np.std([level for job in jobs for level in job]))
    assert within < 3.0 and over_all > 5.0


def test_a_round_drawn_alone_shares_nothing_with_the_next() -> None:
    rng = np.random.default_rng(3)
    first, second = WORLDS["flow"].draw(rng), WORLDS["flow"].draw(rng)
    assert first.microphone != second.microphone and first.background.parts != second.background.parts


def test_every_round_of_a_job_is_judged_alone_and_learnt() -> None:
    rounds = [Measured(spec, measure_clips(clips_of(spec))) for spec in drawn("flow")[:2]]
    pairs = judge_rounds(rounds)
    assert [a.truth for a, _ in pairs] == [r.truth for r in rounds] == [b.truth for _, b in pairs]
    alone, learnt = (score(side) for side in zip(*pairs, strict=True))
    assert alone.log_loss != learnt.log_loss
    table = jobs_table([JobScores(world="flow", alone=alone, learnt=learnt)])
    assert table.count("flow") == 2 and "alone" in table and "learnt" in table
