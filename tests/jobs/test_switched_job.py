"""Switched takes in a job: brought in with their commands and what ran together, asked about, judged as switched."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from listen.audio.write import write_part
from listen.jobs.bring_in import bring_in, recordings_in
from listen.jobs.events import AirFollowed, ReadingEntered
from listen.jobs.folder.store import create_job, open_job
from listen.jobs.to_round import to_round
from listen.jobs.walk import walked
from listen.rounds.evaluate import evaluate
from listen.rounds.loose import read_folder
from listen.signal.clip import Clip
from listen.trade.points import Kind
from tests.jobs.short import begin_round
from tests.rounds.test_switched_round import TOLD, _round


def test_a_take_of_all_channels_becomes_a_clip_a_point(tmp_path: Path) -> None:
    """Each clip knows its commands and its take; no walk is due at its point; the verdict is that of the folder."""
    folder = _round(tmp_path / "r", together=True)
    with create_job(tmp_path / "jobs", title="t") as opened:
        round_id = begin_round(opened, 1)
        event = bring_in(opened, round_id, recordings_in(folder).recordings)
        assert not event.left_out
        clips = opened.job.round(round_id).live_clips()
        assert {c.kept.point for c in clips} == {"intake", "tailpipe", "oil-filler"}
        assert {c.kept.on_s for c in clips} == {TOLD}
        assert len({c.kept.together for c in clips}) == 1
        due = [s for s in walked(opened.job, round_id).steps if s.kind == "clip" and s.state == "due"]
        assert not {s.point for s in due} & {"intake", "tailpipe", "oil-filler"}
        assert any(s.kind == "followed" and s.state == "due" for s in walked(opened.job, round_id).steps)
        opened.append(AirFollowed(round_id=round_id, seen="yes"))
        made = to_round(opened.job, round_id, opened.folder)
        assert made.facts.air_followed is True
        result = evaluate(made)
        assert {p.taken for p in result.points} == {"switched"}
        loose = evaluate(replace(read_folder(folder), facts=made.facts))
        assert (result.verdict, result.paths) == (loose.verdict, loose.paths)
        assert result.paths[0].path == "intake-valve"


def test_a_take_cut_short_keeps_its_commands_and_its_company(tmp_path: Path) -> None:
    """The program was killed in mid-take: what the part's name says goes into the clip that is saved from it."""
    on_s = ((2.5, 5.0), (7.5, 10.0), (12.5, 15.0), (17.5, 20.0))
    with create_job(tmp_path, title="t") as opened:
        round_id, folder = begin_round(opened, 1), opened.folder
        for point in ("intake", "tailpipe"):
            part = opened.new_part(round_id, point, "switched", "switched", on_s, "abc123")
            noise = (np.random.default_rng(len(point)).standard_normal(48_000) * 1e-2).astype(np.float32)
            write_part(part.path, Clip.of(noise, 48_000))
    with open_job(folder) as again:
        for left in again.partials():
            again.keep(left, recovered=True)
        clips = again.job.round(round_id).live_clips()
    assert [(c.kept.on_s, c.kept.together, c.kept.recovered) for c in clips] == [(on_s, "abc123", True)] * 2
    assert {c.kept.point for c in clips} == {"intake", "tailpipe"}


def test_a_sound_cylinder_taken_switched_stands_beside_the_next_one(tmp_path: Path) -> None:
    """Its takes are handed to the judge as those of a sound cylinder, as air clips of a walk are."""
    folder = _round(tmp_path / "r", together=True)
    with create_job(tmp_path / "jobs", title="t") as opened:
        rounds = [begin_round(opened, n) for n in (1, 2)]
        loss = [ReadingEntered(reading="loss", value=v, unit="percent", si=v, cylinder=n) for n, v in ((1, 8), (2, 40))]
        opened.append(*loss)
        for round_id in rounds:
            bring_in(opened, round_id, recordings_in(folder).recordings)
        lent = [t for t in to_round(opened.job, rounds[1], opened.folder).takes if t.kind == Kind.SWITCHED_SOUND]
        own = opened.job.round(rounds[0]).live_clips()
    assert {t.path.stem for t in lent} == {c.id for c in own} and {t.on_s for t in lent} == {TOLD}
