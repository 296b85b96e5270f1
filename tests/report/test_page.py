"""Protects the HTML page: valid, self-contained, escaped, readable without eyes or mouse, and small enough to send."""

from __future__ import annotations

import base64
import io
import re
from functools import lru_cache

import html5lib
import pytest

from listen.report.build import Wanted, report_text
from listen.trade.cautions import defer_to_others

XHTML = "{http://www.w3.org/1999/xhtml}"


@lru_cache(maxsize=4)  # many look at the same two pages
def tree(page: str):
    """The page as html5lib's strict parser reads it; any error in its form raises."""
    return html5lib.HTMLParser(strict=True).parse(page)


def all_of(page: str, name: str):
    return tree(page).findall(f".//{XHTML}{name}")


@pytest.fixture(params=["demo_page", "hostile_page"])
def page(request) -> str:
    return request.getfixturevalue(request.param)


def test_the_page_is_valid_html_with_unique_identifiers(page):
    tree(page)
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) > 20
    assert len(ids) == len(set(ids))


def test_nothing_in_the_page_asks_for_anything_outside_it(page):
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', page)
    assert policy
    assert policy[1].startswith("default-src 'none'")
    assert "script-src" not in policy[1]
    assert not all_of(page, "script")
    assert not all_of(page, "link")
    assert not all_of(page, "iframe")
    for element in tree(page).iter():
        for name, value in element.attrib.items():
            assert not str(name).lower().startswith("on"), (element.tag, name)
            if str(name).endswith(("src", "href")):
                assert value.startswith(("#", "data:audio/mpeg;base64,")), value[:80]
    assert "@import" not in page
    assert not re.search(r"url\((?!#)", page)


def test_a_round_taken_switched_is_heard_and_drawn_as_pairs(demo_page):
    """Cylinder 2 of the demo: air off, then on, out of one take; and what was read before the valve was turned."""
    shown = demo_page[demo_page.index("Cylinder 2, ") :]
    assert 'aria-label="Cylinder 2, intake: quiet, then air" src="data:audio/mpeg;base64,' in shown
    assert "level against frequency, quiet broken, air full line" in shown
    assert "a caution this version does not know" not in demo_page


def test_hostile_names_are_shown_and_do_nothing(hostile_page):
    assert "<script" not in hostile_page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in hostile_page
    assert not all_of(hostile_page, "img")
    for bad in ("\x00", "\x1b", "\u202e", "\uffff"):
        assert bad not in hostile_page
    assert "\N{REPLACEMENT CHARACTER}" in hostile_page
    title = all_of(hostile_page, "title")[0]
    assert title.text.count("script") == 2


def test_every_picture_control_and_table_has_its_words(page):
    root = tree(page)
    known = {e.attrib["id"] for e in root.iter() if "id" in e.attrib}
    for e in root.iter():
        if not isinstance(e.tag, str):
            continue
        name = e.tag.rsplit("}", 1)[-1]
        if e.attrib.get("role") in ("img", "region"):
            assert e.attrib.get("aria-label"), name
        for target in (*e.attrib.get("aria-labelledby", "").split(), *_anchor(e)):
            assert target in known, target
        if name == "audio":
            assert (e.attrib.get("aria-labelledby") or e.attrib.get("aria-label")) and "controls" in e.attrib
        if name == "svg":
            assert e.attrib.get("role") == "img" or e.attrib.get("aria-hidden") == "true"
        if name == "th":
            assert e.attrib.get("scope") in ("col", "row")
    html = root if root.tag.endswith("html") else root.find(f".//{XHTML}html")
    assert html.attrib["lang"] == "en"


def test_on_paper_a_rounds_heading_stays_with_its_verdict(demo_page):
    """Neither the heading nor the line after it is left alone at the foot of a page."""
    kept = [d for d in all_of(demo_page, "div") if d.attrib.get("class") == "together"]
    headings = [h for h in all_of(demo_page, "h3") if h.attrib["id"].startswith("round-")]
    rounds = [block for block in kept if block[0].tag == f"{XHTML}h3"]
    assert len(rounds) == len(headings) > 3
    for block in rounds:
        assert block[1].tag == f"{XHTML}p" and block[-1].attrib["class"] == "lead"
    assert re.search(r"@media print.*\.together[^{}]*{ break-inside: avoid; }", demo_page, re.DOTALL)


def _anchor(e) -> tuple[str, ...]:
    href = e.attrib.get("href", "")
    return (href[1:],) if href.startswith("#") and href != "#" else ()


def test_the_owner_reads_plain_words_and_nobody_is_ordered_to_repair(demo_page):
    text = "".join(tree(demo_page).itertext())
    for words in ("How sure:", "If it waits:", "Not looked at:", "not a repair order", "qualified person"):
        assert words in text
    assert defer_to_others() in text
    assert "made by a computer, not by an engine" in text
    assert "Cylinder 5: an intake valve does not close tightly." in text


def test_sounds_are_pairs_that_decode_and_are_gone_on_request(demo, demo_page):
    import soundfile

    sources = [a.attrib["src"] for a in all_of(demo_page, "audio")]
    assert len(sources) >= 11
    assert sources[0] in sources[1:]  # the owner hears what stands with its point in the shop's part
    for source in sources[:4]:
        data = base64.b64decode(source.split(",", 1)[1])
        samples, rate = soundfile.read(io.BytesIO(data))
        assert rate == 48_000
        assert 2.0 < len(samples) / rate <= 8.6
        assert abs(samples).max() > 0.001
    silent = report_text(demo, Wanted(audio=False))
    assert not all_of(silent, "audio")
    assert "left out" in silent and "compressed for listening" not in silent
    assert len(silent) < 1_500_000


def test_a_six_cylinder_job_stays_under_two_megabytes_with_every_pair_in_it(six):
    page = report_text(six)
    assert len(page.encode()) < 2_000_000
    assert len(all_of(page, "audio")) == 6 * 7


def test_a_clip_that_was_changed_or_lost_is_said_so(hostile, tmp_path):
    import shutil

    folder = tmp_path / "job"
    shutil.copytree(hostile, folder)
    clips = sorted((folder / "clips").glob("*.flac"))
    clips[0].write_bytes(clips[0].read_bytes()[:-100])
    clips[1].unlink()
    page = report_text(folder, Wanted(audio=False))
    assert page.count('<span class="mark differs">differs</span>') == 1
    assert page.count('<span class="mark missing">missing</span>') == 1
    assert page.count("Not the record.") == 1  # where the clips stand, in one sentence for both
    assert "the quiet clip is" in page.lower() and "the air clip is" in page.lower()
    owner = page[: page.index('id="shop"')]
    assert "Do not rely on this report: 2 of its recordings" in owner


def test_the_page_tells_nobody_where_the_job_lies(hostile_page, hostile, demo_page, demo):
    assert str(hostile) not in hostile_page and str(hostile.parent) not in hostile_page
    assert str(demo) not in demo_page


def test_nobody_listened_is_never_beside_sound(demo):
    import json

    rows = json.loads(report_text(demo, Wanted(form="json")))["cylinders"]
    assert {r["standing"] for r in rows if r["heard"] == "not listened"} == {"readings good"}


def test_an_empty_job_still_makes_a_page(tmp_path):
    from listen.jobs.folder.store import create_job

    with create_job(tmp_path, title="") as job:
        page = report_text(job.folder)
    tree(page)
    assert "Nothing to report yet" in page
    assert "Untitled job" in page


def test_every_figure_of_the_demo_stands_in_the_page_with_its_interval(demo, demo_page):
    from listen.jobs.folder.store import open_job
    from listen.voice.figures import number

    text = "".join(tree(demo_page).itertext())
    job = open_job(demo, write=False).job
    judged = [r for r in job.rounds if r.verdict]
    assert judged
    for record in judged:
        for p in record.verdict.result.points:
            assert number(p.excess_db, sign=True) in text
    for clip in (c for r in job.rounds for c in r.clips):
        assert clip.kept.sha256 in text
