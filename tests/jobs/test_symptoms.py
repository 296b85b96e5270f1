"""A job tells "asked, none" from "not asked", on disk, to the diagnosis and in every form of the report."""

from __future__ import annotations

from pathlib import Path

from listen.jobs.engine_case import engine_case
from listen.jobs.events import SymptomNoted, SymptomsAsked
from listen.jobs.folder.store import create_job, open_job
from listen.report.build import Wanted, report_text
from listen.trade.engine import layout
from listen.trade.facts import symptoms

ALL = tuple(s.id for s in symptoms() if s.scope == "engine")


def test_asked_and_none_is_not_the_same_as_not_asked(tmp_path: Path) -> None:
    with create_job(tmp_path, title="t", engine=layout("inline-4")) as opened:
        folder = opened.folder
        assert not opened.job.symptoms_asked and not engine_case(opened.job).symptoms_asked
        assert "Symptoms noted: not asked" in report_text(folder, Wanted(form="md"))
        opened.append(SymptomsAsked(symptoms=ALL))
        assert opened.job.symptoms_asked and opened.job.symptoms_of() == () and engine_case(opened.job).symptoms_asked
    with open_job(folder, write=False) as again:
        assert again.job.asked_of() == ALL and not again.job.troubles
    assert "Symptoms noted: asked: none" in report_text(folder, Wanted(form="md"))
    assert "<dd>asked: none</dd>" in report_text(folder, Wanted(form="html", audio=False))
    with open_job(folder) as opened:
        opened.append(SymptomNoted(symptom=ALL[0]), SymptomNoted(symptom=ALL[0], present=False))
        assert opened.job.symptoms_of() == () and opened.job.symptoms_asked, (
            "a symptom withdrawn was asked about all the same"
        )
