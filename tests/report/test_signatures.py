"""Protects what the report says of a signature: who, when, and whether a key holds it, a name alone, or neither."""

from __future__ import annotations

import json
from pathlib import Path

import msgspec
import pytest

from listen.jobs.events import RoundOpened, Signed
from listen.jobs.exchange.keys import fingerprint, make_key
from listen.jobs.exchange.sign import sign_round
from listen.jobs.folder.store import create_job
from listen.report.build import Wanted, report_text
from listen.trade.engine import layout
from listen.voice.times import moment_and_zone as moment


@pytest.fixture
def opened(tmp_path):
    with create_job(tmp_path / "jobs", title="signed", engine=layout("inline-4")) as job:
        job.append(RoundOpened(round_id="r", cylinder=2))
        yield job


def forms(folder: Path) -> dict[str, str]:
    """The report in every form."""
    return {form: report_text(folder, Wanted(form=form)) for form in ("html", "md", "json")}


def check(forms: dict[str, str]) -> dict[str, str]:
    (found,) = json.loads(forms["json"])["rounds"][0]["signature_checks"]
    return found


def test_a_shop_key_shows_by_its_fingerprint_and_the_time(opened, tmp_path):
    key = make_key(tmp_path / "key.pem")
    job = sign_round(opened, "r", name="Oskar Vey", key=key)
    shown = fingerprint(key.public_key().public_bytes_raw().hex())
    found = forms(opened.folder)
    line = f"Oskar Vey (supervisor), {moment(job.changed)}: signed with shop key {shown}, signature good."
    for form in ("html", "md"):
        assert line in found[form], form
    assert (check(found)["state"], check(found)["fingerprint"]) == ("good", shown)
    assert check(found)["signed"] == moment(job.changed)


def test_a_typed_name_is_called_that(opened):
    job = sign_round(opened, "r", name="Oskar Vey")
    found = forms(opened.folder)
    for form in ("html", "md"):
        assert f"Oskar Vey (supervisor), {moment(job.changed)}: name typed, no key." in found[form], form
        assert "signature good" not in found[form]
    assert (check(found)["state"], check(found)["fingerprint"]) == ("name-only", "")


@pytest.mark.parametrize("change", [{"statement": "I agree."}, {"head": "0" * 64}])
def test_a_signature_that_does_not_match_is_a_warning_too(opened, tmp_path, change):
    key = make_key(tmp_path / "key.pem")
    job = sign_round(opened, "r", name="Oskar Vey", key=key)
    opened.append(msgspec.structs.replace(job.rounds[0].signatures[0], **{"head": opened.chain.head, **change}))
    found = forms(opened.folder)
    for form in ("html", "md"):
        assert found[form].count("signature DOES NOT MATCH") == 2, form  # where it stands, and above the verdict
        assert found[form].count("signature good") == 1, form
    first, second = json.loads(found["json"])["rounds"][0]["signature_checks"]
    assert (first["state"], second["state"]) == ("good", "bad")


def test_a_name_typed_for_another_journal_does_not_match_either(opened):
    opened.append(Signed(round_id="r", name="Bo", role="supervisor", statement="I agree.", head="0" * 64))
    found = forms(opened.folder)
    assert "name typed, no key, signature DOES NOT MATCH: its head is not the line before it" in found["md"]
    assert check(found)["state"] == "bad"
