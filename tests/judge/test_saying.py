"""What is said: a path only when earned, otherwise "cannot tell" with the recording that would help most."""

import pytest
from evidence_made import loud_at, made

from listen.judge.next_best import NextBest, next_best
from listen.judge.posterior import posterior
from listen.judge.verdict import NAME_AT, verdict
from listen.trade.points import PathId

QUIET = {"intake": None, "tailpipe": None, "oil-filler": -7.0, "radiator": None}


def said(evidence, next_text="record more"):
    odds = posterior(evidence)
    return verdict(odds, frozenset(p for p in PathId if evidence.hears(p)), "3 dB would have been seen", next_text)


def best(evidence) -> NextBest | None:
    return next_best(evidence, posterior(evidence))


def test_a_clear_path_is_named_with_its_odds():
    v = said(made(loud_at("intake", 10.0), loss_percent=30.0))
    assert (v.kind, v.paths) == ("path", ("intake-valve",))
    assert v.probability >= NAME_AT
    assert "past the intake valve" in v.text
    assert "%" in v.text


def test_two_clear_paths_are_several():
    both = {**QUIET, "tailpipe": 25.0, "radiator": 6.0}
    v = said(made(both, bubbles=(0, 8.0, 12, 4.0), loss_percent=45.0, bubbles_seen=True))
    assert (v.kind, set(v.paths)) == ("several", {"exhaust-valve", "coolant-passage"})


EVEN = {"compression_dry_kpa": 1200.0, "compression_wet_kpa": 1240.0}


def test_a_sound_verdict_says_what_would_have_been_seen():
    beside = {"intake": None, "tailpipe": None, "oil-filler": -7.0, "radiator": None}
    v = said(made(QUIET, sound=beside, loss_percent=5.0, restrictor_mm=1.0, **EVEN))
    assert v.kind == "sound"
    assert "would have been seen" in v.text
    assert v.next == ""


@pytest.mark.parametrize(
    ("levels", "loss", "kind"),
    [
        ({**QUIET, "intake": 16.0, "tailpipe": 16.0}, 97.0, "set-up"),
        (
            dict.fromkeys(QUIET, 24.0) | {"tailpipe": 6.0, "radiator": 21.0, "plug-hole-1": 32.0, "plug-hole-3": 30.0},
            2.0,
            "fitting",
        ),
    ],
)
def test_faults_of_the_test_itself_are_named_as_such(levels, loss, kind):
    v = said(made(levels, loss_percent=loss))
    assert v.kind == kind
    assert "Release the air" in v.next


def test_doubt_is_said_as_doubt_with_a_next_step():
    v = said(made({**QUIET, "oil-filler": -1.0}, loss_percent=16.0))
    assert v.kind == "unclear"
    assert v.text.startswith("Cannot tell")
    assert v.next == "record more"


def test_a_path_nobody_listened_for_is_never_named():
    evidence = made({"intake": None, "tailpipe": None, "oil-filler": -12.0}, loss_percent=60.0)
    v = said(evidence)
    assert v.kind == "unclear"


def test_rings_against_normal_blow_by_asks_for_the_sound_cylinder():
    found = best(made({**QUIET, "oil-filler": 0.0}, loss_percent=15.0, bubbles_seen=False))
    assert found is not None
    assert (found.point, found.kind) == ("oil-filler", "sound")
    assert "sound" in found.text


def test_a_high_loss_with_nothing_heard_asks_for_a_point_not_yet_recorded():
    found = best(made({"intake": None, "oil-filler": -12.0}, loss_percent=40.0))
    assert found is not None
    assert (found.point, found.kind) == ("tailpipe", "air")


def test_a_settled_round_asks_for_nothing():
    assert best(made(loud_at("intake", 14.0), loss_percent=30.0, bubbles_seen=False)) is None or (
        best(made(loud_at("intake", 14.0), loss_percent=30.0, bubbles_seen=False)).bits < 0.2
    )


def test_more_doubt_is_worth_more_bits():
    doubt = best(made({**QUIET, "oil-filler": 0.0}, loss_percent=15.0))
    settled = best(made(loud_at("tailpipe", 14.0), loss_percent=30.0))
    assert doubt is not None
    assert settled is None or doubt.bits > settled.bits
