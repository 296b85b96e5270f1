"""Protects against a clipped clip taken for silence: the air is at least so loud, and nothing is named past it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from listen.judge.next_best import NextBest
from listen.lab.simulator.render import render
from listen.rounds.evaluate import judge_points
from listen.rounds.model import Facts
from listen.trade.points import Kind
from tests.rounds.slips import Clips
from tests.rounds.test_blunders import judged, leak, measured

FACTS = Facts(loss_percent=25.0)


@cache
def taken(seed: int = 5) -> Clips:
    """The clips of a leak, rendered once; only to be read."""
    return render(leak(seed))


def clipped(clips: Clips, *points: str) -> Clips:
    """The air clips of these points cut off at their own root mean square, as by far too much gain."""
    out = dict(clips)
    for key, clip in clips.items():
        if key[0] in points and key[1] is Kind.AIR:
            top = np.float32(float(np.sqrt(np.mean(clip.samples.astype(np.float64) ** 2))))
            out[key] = replace(clip, samples=np.clip(clip.samples, -top, top))
    return out


def test_a_leak_whose_own_clip_is_clipped_is_still_named() -> None:
    result = judged(clipped(taken(), "intake"), FACTS)
    assert [f.flag for p in result.points if p.point == "intake" for f in p.flags] == ["clipping", "no-pair"]
    assert result.verdict.kind == "path" and result.verdict.paths == ("intake-valve",)


def test_nothing_is_named_past_a_rival_whose_clip_is_clipped_and_it_is_asked_for_with_less_gain() -> None:
    result = judged(clipped(taken(14), "intake", "tailpipe"), FACTS)
    assert result.verdict.kind == "unclear"
    assert "less input gain" in result.verdict.next
    assert result.verdict.next_point in ("intake", "tailpipe")
    # By the judge's own model: what was taught may leave the name below what a name takes by itself.
    surer = judge_points("round", measured(clipped(taken(), "intake", "tailpipe")), FACTS, taught=None)
    assert surer.verdict.probability > 0.9 and surer.verdict.kind == "unclear"
    assert "tailpipe again" in surer.verdict.next and "less input gain" in surer.verdict.next


def test_an_answer_that_is_asked_for_is_told_by_its_kind_like_a_clip(monkeypatch) -> None:
    monkeypatch.setattr(
        "listen.rounds.evaluate.next_best", lambda *_, **__: NextBest("", "loss", 0.0, 1.0, "Read the loss.")
    )
    verdict = judged(clipped(taken(14), "intake", "tailpipe"), Facts()).verdict
    assert (verdict.next, verdict.next_point, verdict.next_kind) == ("Read the loss.", "", "loss")


def test_sound_is_not_said_over_a_clipped_clip() -> None:
    clips = {k: c for k, c in taken().items() if k[0] != "intake"}
    result = judged(clipped(clips, "tailpipe"), Facts(loss_percent=4.0))
    assert result.verdict.kind != "sound"


def test_a_clipped_point_has_no_upper_end() -> None:
    """Its excess is not given, only that there is one."""
    by_name = {p.point: p for p in measured(clipped(taken(), "intake"))}
    assert by_name["intake"].at_least and Kind.AIR not in by_name["intake"].takes
    assert not by_name["tailpipe"].at_least
    shown = next(p for p in judged(clipped(taken(), "intake"), FACTS).points if p.point == "intake")
    assert shown.excess_db is None and shown.detected is False
