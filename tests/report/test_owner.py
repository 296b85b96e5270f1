"""Protects the owner: the caution to stop stands first, a person's word above the program's, every language short."""

from __future__ import annotations

import re

import pytest
from msgspec.structs import replace

from listen.diagnosis.case import CylinderCase, EngineCase
from listen.diagnosis.diagnose import diagnose
from listen.diagnosis.model import Candidate
from listen.jobs import events as ev
from listen.jobs.folder.store import create_job, open_job
from listen.jobs.job import Job
from listen.report.assemble import assemble, days_of_testing
from listen.report.build import origin_now
from listen.report.owner import Behind, owner_part, sure_word
from listen.report.owner_words import LANGUAGES, OwnerWords, table
from listen.trade.causes import causes
from listen.trade.engine import layout
from listen.trade.points import PathId

ONE_LINE = 46
"""Characters of a line on a phone 390 pixels wide, measured in headless Chromium."""
MEASURED = {"name": 2, "means": 3, "waits": 2, "next": 4}
"""Lines that each piece of a cause may take, its heading included."""


def engine(**more):
    readings = ((1, 1200, 7), (2, 1195, 8), (3, 1190, 9), (4, 1210, 8))
    return EngineCase(
        engine=layout("inline-4"),
        figures={"compression-expected": 1250.0},
        cylinders=tuple(
            CylinderCase(cylinder=n, figures={"compression-dry": kpa, "loss": loss}) for n, kpa, loss in readings
        ),
        **more,
    )


def page(d, job: Job | None = None, language="en"):
    return owner_part(d, Behind(job=job or Job(), rounds=(), days="2026-03-17"), OwnerWords(language))


def test_water_in_the_oil_stops_the_engine_before_anything_else():
    said = page(diagnose(engine(symptoms=("emulsion",))))
    assert said["warnings"][0].startswith("Do not start or drive it")


def test_without_such_a_sign_nobody_is_frightened():
    said = page(diagnose(engine(symptoms=("misfire-load",))))
    assert not said["warnings"]


def test_where_only_the_test_is_in_doubt_the_owner_reads_that_it_is_made_once_more():
    """What is next is a thing that is done, not a check that decides between two sentences."""
    alone = CylinderCase(cylinder=1, figures={"loss": 32}, paths={"exhaust-valve": 0.99})
    d = diagnose(EngineCase(engine=layout("single"), cylinders=(alone,)))
    doubt = Candidate(cause="test-fault", words="the test itself", score_db=0.0, probability=0.17)
    (fault,) = (replace(f, rivals=(doubt,)) for f in d.faults)
    assert not fault.repeat_first
    (found,) = page(replace(d, faults=(fault,)))["found"]
    assert found.next == "The same test once more; it decides whether anything is wrong."


def test_the_owner_gets_no_orders_and_no_list_of_everything_unlikely(demo):
    """One finding is two sentences, how sure, what waiting means and what is next: five pieces, none long."""
    opened = open_job(demo, write=False)
    owner = assemble(opened, origin_now(opened))["owner"]
    (found,) = owner["found"]
    assert found.says == "Cylinder 5: an intake valve does not close tightly."
    assert found.means == "That concerns the cylinder head, not the whole engine."
    assert found.sure.startswith("Likely") and "%" not in found.sure
    assert "decides" in found.next
    assert owner["heard"] is not None and owner["heard"]["point"] == "intake"
    assert owner["not_looked"].endswith("listening at cylinder 4 and inside the engine")
    everything = " ".join((found.says, found.means, found.sure, found.waits, found.next, *owner["who"]))
    assert not re.search(r"\b(set it|remove|measure the|tap the|torque|replace)\b", everything.lower())


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_language_has_every_word_and_fits_the_phone(language):
    for cause in causes():
        row = table()["cause"][cause]
        for piece, lines in MEASURED.items():
            text = row[piece][language]
            assert text and len(text) <= lines * ONE_LINE, (cause, piece, language, len(text))
    for part in ("phrase", "sure", "path", "point", "test"):
        for key, row in table()[part].items():
            assert set(row) == set(LANGUAGES), key
            assert sorted(re.findall(r"{\w+}", row[language])) == sorted(re.findall(r"{\w+}", row["en"])), key
    assert set(table()["path"]) >= {str(p) for p in PathId}
    assert {p for c in causes().values() for p in c.paths} == {*PathId} - {PathId.NONE}


@pytest.mark.parametrize(
    ("probability", "word"),
    [(0.99, "very-likely"), (0.9, "likely"), (0.6, "more-likely-than-not"), (0.4, "possible"), (0.1, "possible")],
)
def test_how_sure_has_a_row_for_every_class(probability, word):
    assert sure_word(probability) == word and word in table()["sure"]


def overruled(tmp_path, path: str, tech: str = "Ida Moor"):
    """A job with one leaking cylinder, on which the supervisor has decided."""
    with create_job(tmp_path, title="x", engine=layout("inline-4")) as opened:
        for n, loss in ((1, 8), (2, 60), (3, 9), (4, 8)):
            opened.append(ev.ReadingEntered(reading="loss", value=loss, unit="percent", si=loss, cylinder=n))
        opened.append(
            ev.RoundOpened(round_id="r", cylinder=2),
            ev.PersonChosen(role="contact", name="bell at the gate"),
            ev.PersonChosen(role="tech", name=tech),
            ev.Overruled(round_id="r", name="Oskar Vey", paths=(path,), reason="heard it"),
        )
        return opened.folder


@pytest.mark.parametrize(
    ("path", "says"),
    [
        ("rings", "Cylinder 2: the seal between piston and cylinder wall leaks."),
        ("exhaust-valve", "Cylinder 2: an exhaust valve does not close tightly."),
        ("none", "Cylinder 2: nothing was found."),
    ],
)
def test_what_a_supervisor_decided_stands_above_the_program(tmp_path, path, says):
    opened = open_job(overruled(tmp_path, path), write=False)
    owner = assemble(opened, origin_now(opened))["owner"]
    assert owner["found"][0].says == says
    assert "Oskar Vey, supervisor, decided otherwise" in " ".join((owner["found"][0].sure, *owner["who"]))
    assert owner["who"][-1] == "Questions: bell at the gate."


@pytest.mark.parametrize(("tech", "alone"), [("oskar vey", True), ("Ida Moor", False)])
def test_one_person_as_tech_and_supervisor_is_told_where_the_confirmation_stands(tmp_path, tech, alone):
    """Two roles on the page look like two pairs of eyes; the owner is told where there was one."""
    opened = open_job(overruled(tmp_path, "rings", tech), write=False)
    page = assemble(opened, origin_now(opened))
    (told,) = (line for line in page["owner"]["who"] if "Oskar Vey, supervisor" in line)
    assert ("the same person did the test: nobody else has checked it" in told) is alone
    (decision,) = page["rounds"][0]["decisions"]
    assert ("whoever decided had recorded the round" in decision) is alone


def test_days_of_testing_are_those_of_the_tests():
    def event(time: str, payload):
        return ev.Event(id=time, time=time, actor="", payload=payload, line="")

    loss = ev.ReadingEntered(reading="loss", value=8, unit="percent", si=8, cylinder=1)
    signed = ev.Signed(round_id="r", name="Bo", role="supervisor", statement="", head="")
    later = event("2026-05-01T12:00:00+00:00", signed)
    assert days_of_testing([event("2026-03-17T12:00:00+00:00", loss), later]) == "2026-03-17"
    several = [event(f"2026-03-{d}T12:00:00+00:00", loss) for d in (17, 18, 19, 20, 24)]
    assert days_of_testing(several) == "2026-03-17 \N{EN DASH} 2026-03-24"
