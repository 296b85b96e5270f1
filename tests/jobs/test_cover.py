"""Protects what is signed: whatever a signature covers cannot change without a word."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from msgspec.structs import replace

from listen.jobs import events as ev
from listen.jobs.job import Job
from listen.jobs.reference import covers
from listen.jobs.standing import waiting
from listen.trade.engine import layout
from tests.jobs.made import result
from tests.jobs.test_standing import BASE, R, chained, clip, judged, told

OTHER = "c2-bb"
SOUND = (
    ev.RoundOpened(round_id=OTHER, cylinder=2),
    replace(clip(7), round_id=OTHER),
    ev.Judged(round_id=OTHER, result=result("sound", "none"), clips=("clip7",)),
)
SIGNED = ev.Signed(round_id=R, name="Bo", role="supervisor", statement="", head="0" * 64)
PLUG = ev.PlugSeen(cylinder=1, conditions=("oily",))


def after_signing(*said: ev.Payload, before: Sequence[ev.Payload] = (), first: ev.Signed = SIGNED) -> Job:
    return told(chained([*BASE, *(("Ann", p) for p in before), ("Bo", first), *(("Ann", p) for p in said)]))


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (ev.JobNamed(title="Other engine"), "title “Bench engine” is now “Other engine”"),
        (ev.JobNamed(complaint="knocks"), "complaint “” is now “knocks”"),
        (ev.JobNamed(shop="Other & Co"), "shop “” is now “Other & Co”"),
        (ev.JobNamed(pressure_unit="psi"), "pressure unit “kPa” is now “psi”"),
        (ev.EngineDescribed(engine=layout("single")), "engine described"),
        (PLUG, "plug of cylinder 1"),
        (ev.SymptomNoted(symptom="blue-smoke"), "symptom noted"),
        (ev.SymptomNoted(symptom="hot-restart", cylinder=1), "symptom noted"),
        (ev.SymptomsAsked(symptoms=("blue-smoke",)), "1 symptom(s) asked about"),
        (ev.ReadingEntered(reading="loss", value=7, unit="percent", si=7.0, cylinder=1), "loss entered as 7 %"),
        (ev.ReadingEntered(reading="supply", value=6, unit="bar", si=600.0), "supply entered as 6 bar"),
        (ev.ClipTakenBack(clip="clip1"), "clip taken back"),
        (clip(2), "clip kept"),
        (judged("rings"), "judged"),
        (ev.Overruled(round_id=R, name="Cy", paths=("rings",), reason="x"), "overruled"),
        (ev.ByEarCalled(round_id=R, paths=("rings",)), "by ear called"),
        (ev.BubblesLooked(round_id=R, seen="yes"), "bubbles looked"),
        (ev.AirFollowed(round_id=R, seen="yes"), "air followed"),
        (ev.TopFoundAgain(round_id=R, loss_percent=96.0), "top found again"),
        (ev.PointSkipped(round_id=R, point="intake", reason="x"), "point skipped"),
        (ev.StepPassed(round_id=R, step="loss", reason="x"), "step passed"),
        (ev.NoteAdded(text="x", round_id=R), "note added"),
    ],
)
def test_every_change_after_signing_is_told_with_who_and_when(said: ev.Payload, words: str) -> None:
    job = after_signing(said)
    (change,) = job.round(R).changed_after_signing
    assert change.startswith(f"changed after signing: {words}"), change
    assert ", by Ann, 2026-01-05" in change


@pytest.mark.parametrize(
    "said",
    [
        ev.JobNamed(title="Bench engine"),
        ev.FindingRecorded(cylinder=1, paths=("rings",)),
        ev.PlugSeen(cylinder=3, conditions=("oily",)),
        ev.PersonChosen(role="tech", name="Cy"),
        ev.NumbersShown(sitting="s", name="Bo", rounds=(R,), screen="engine"),
        ev.PairPlayed(sitting="s", name="Bo", round_id=R, point="intake", clips=()),
        ev.SatDown(sitting="s", name="Bo", role="supervisor"),
    ],
)
def test_what_changes_nothing_that_is_signed_is_no_change(said: ev.Payload) -> None:
    """The same title again, another cylinder's plug, the first finding, looking and listening."""
    assert after_signing(said).round(R).changed_after_signing == ()


def test_a_finding_that_is_replaced_is_a_change() -> None:
    job = after_signing(
        ev.FindingRecorded(cylinder=1, paths=("none",)), before=[ev.FindingRecorded(cylinder=1, paths=("rings",))]
    )
    (change,) = job.round(R).changed_after_signing
    assert "finding at cylinder 1: rings is now sound" in change


def test_other_clips_of_a_sound_cylinder_beside_the_round_are_a_change() -> None:
    """The reference is another round's: taken back there, it is told here; so is one that comes."""
    gone = after_signing(ev.ClipTakenBack(clip="clip7"), before=SOUND)
    assert "no sound cylinder's clips stand beside it any more" in gone.round(R).changed_after_signing[0]
    come = after_signing(*SOUND)
    (change,) = come.round(R).changed_after_signing
    assert "1 clip of cylinder 2 now stand beside it as sound" in change
    assert after_signing(before=SOUND).round(R).changed_after_signing == ()


def test_what_is_covered_is_counted() -> None:
    job = after_signing(before=SOUND)
    said = covers(job, job.round(R))
    assert said.endswith("; 2 clips; 1 clip of a sound cylinder beside it; 1 verdict.")


KEYED = replace(SIGNED, public_key="ab", signature="cd")


@pytest.mark.parametrize(
    ("first", "second", "told"), [(SIGNED, SIGNED, 0), (KEYED, KEYED, 0), (SIGNED, KEYED, 0), (KEYED, SIGNED, 1)]
)
def test_who_signs_again_covers_what_changed_unless_more_weakly(first: ev.Signed, second: ev.Signed, told: int) -> None:
    """What changed stays on the record with who signed over it; a typed name does not cover for a key."""
    loss = ev.ReadingEntered(reading="loss", value=7, unit="percent", si=7.0, cylinder=1)
    job = after_signing(loss, replace(second, name="Cy"), first=first)
    (change,) = job.round(R).changes
    assert len(job.round(R).changed_after_signing) == told
    assert change.sentence.endswith("; signed again by Cy") is not told
    (waits,) = [one.why for one in waiting(job) if one.round_id == R] or [""]
    assert waits == ("changed" if told else ""), "else it would wait for ever"
