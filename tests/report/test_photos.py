"""Photos in the report: on the owner's page those of its cylinder, all of them for the shop, none taken back."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from PIL import Image

from listen.jobs.events import DetailsGiven, FindingRecorded, Judged, PhotoTakenBack
from listen.jobs.folder.store import create_job
from listen.jobs.photo import photo_event
from listen.judge.result import PathResult, RoundResult, Verdict
from listen.report.build import Wanted, report_text
from listen.trade.engine import layout
from tests.jobs.short import begin_round

AT_WORK, ALONE = 0.934, 0.713


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    with create_job(tmp_path / "jobs", title="Pump", engine=layout("inline-4")) as opened:
        for n, colour in enumerate(("red", "green", "blue")):
            Image.new("RGB", (64, 48), colour).save(tmp_path / f"{n}.jpg")
            opened.append(photo_event(tmp_path / f"{n}.jpg", cylinder=n + 1, of="plug", text=f"<b>{colour}</b>"))
        opened.append(PhotoTakenBack(photo=opened.job.photos[1].kept.photo))
        opened.append(DetailsGiven(details={"reach-us": "at the blue gate"}))
        round_id = begin_round(opened, 1)
        paths = (
            PathResult(path="intake-valve", probability=ALONE, evidence_db={}, involved=AT_WORK),
            PathResult(path="none", probability=1 - ALONE, evidence_db={}, involved=0.05),
        )
        verdict = Verdict(
            kind="path", paths=("intake-valve",), probability=AT_WORK, text="Air escapes (93 % sure).", next=""
        )
        result = RoundResult(round="r", points=(), paths=paths, verdict=verdict)
        opened.append(Judged(round_id=round_id, result=result, clips=()))
        return opened.folder


def test_photos_stand_where_they_belong(folder: Path) -> None:
    page = report_text(folder)
    owner, shop = page.split('id="shop"', 1)
    assert len(re.findall(r'<img src="data:image/jpeg;base64,', shop)) == 2
    assert "&lt;b&gt;red&lt;/b&gt;" in page and "<b>red</b>" not in page and "green" not in shop
    assert owner.count("<img ") <= 2
    assert "at the blue gate" in owner


def test_the_json_names_photos_by_hash_and_leaves_the_pictures_out(folder: Path) -> None:
    text = report_text(folder, Wanted(form="json"))
    assert text.count("original_sha256") == 2 and "/9j/" not in text


@pytest.mark.parametrize("form", ["html", "md"])
def test_one_verdict_has_one_number(folder: Path, form: str) -> None:
    """The path is at work with 93 %; its share of what is wrong (71 %) is for programs only."""
    page = re.sub(r"<style.*?</style>|data:[^\"]*", "", report_text(folder, Wanted(form=form)), flags=re.DOTALL)
    assert "93 %" in page and not re.search(r"(?<![\d.])71 %", page)


def test_a_finding_stays_beside_them(folder: Path) -> None:
    """Adding to the job later keeps the page whole."""
    from listen.jobs.folder.store import open_job

    with open_job(folder) as opened:
        opened.append(FindingRecorded(cylinder=1, paths=("intake-valve",)))
    assert report_text(folder).count("<img ") >= 2
