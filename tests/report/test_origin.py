"""Protects pages that travel without their job: a forged line is found, an untouched page is not accused."""

from __future__ import annotations

import base64
import os
import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from listen.audio.files import read_clip
from listen.audio.player import mp3_bytes
from listen.cli.main import main
from listen.errors import ReportError
from listen.jobs import events as ev
from listen.jobs.exchange.verification import Against
from listen.jobs.folder.store import open_job
from listen.report import origin
from listen.report.build import Wanted, report_text
from listen.report.origin import same_sound, verify_report


@pytest.fixture
def job(demo: Path, tmp_path: Path) -> Path:
    """The demo's job, to be written to; its clips, which nothing changes, are links."""

    def copy(source: str, target: str) -> None:
        os.link(source, target) if source.endswith(".flac") else shutil.copy2(source, target)

    return shutil.copytree(demo, tmp_path / "jobs" / demo.name, copy_function=copy)


def page(folder: Path, text: str) -> Path:
    path = folder.parents[1] / "report.html"
    path.write_text(text, "utf-8")
    return path


def checked(path: Path, folder: Path) -> list[str]:
    return [m.text for m in verify_report(path, folder, None, Against(judge=None)).mismatches if m.what == "report"]


def test_a_page_of_an_earlier_state_still_says_what_the_job_said(job: Path, demo_page: str) -> None:
    """Work went on since; the page is held against the state it names."""
    path = page(job, demo_page)
    with open_job(job) as opened:
        opened.append(ev.JobNamed(title="Another title"))
        opened.append(ev.NoteAdded(text="later"))
    assert checked(path, job) == []


def test_options_are_part_of_what_is_compared(job: Path) -> None:
    wanted = Wanted(audio=False, language="de", contact="bell at the back", unfolded=True, shop=job.parent)
    found = verify_report(page(job, report_text(job, wanted)), job, None, Against(judge=None))
    assert not [m for m in found.mismatches if m.what == "report"]
    assert any("bell at the back" in r for r in found.remarks)


@pytest.mark.parametrize(
    ("was", "is_"),
    [
        ("intake valve", "exhaust valve"),
        ("% sure", " % sure, as certain as it gets"),
        ("</main>", "<p>The shop guarantees it.</p></main>"),
        ("<title>", "<style>#owner{display:none}</style><title>"),
    ],
)
def test_a_forged_line_is_found(job: Path, demo_page: str, was: str, is_: str) -> None:
    if was not in demo_page:
        was = "intake"
    found = checked(page(job, demo_page.replace(was, is_, 1)), job)
    assert found and any("made from the job it says" in text for text in found)


def test_another_sound_in_a_page_is_found_and_one_written_anew_is_told(
    job: Path, demo_page: str, tmp_path: Path
) -> None:
    first, *_, last = re.findall(r"data:audio/mpeg;base64,([^\"']+)", demo_page)
    assert "sound 1 of the page is not" in checked(page(job, demo_page.replace(first, last, 1)), job)[0]
    (tmp_path / "first.mp3").write_bytes(base64.b64decode(first))
    anew = base64.b64encode(mp3_bytes(read_clip(tmp_path / "first.mp3"))).decode()
    found = verify_report(page(job, demo_page.replace(first, anew)), job, None, Against(judge=None))
    assert anew != first and not [m for m in found.mismatches if m.what == "report"]
    assert any("by another encoder, or changed" in r for r in found.remarks)


@pytest.mark.parametrize("share", [0.0, 0.1, 0.4])
def test_a_sound_put_in_silenced_or_turned_down_is_another(job: Path, demo_page: str, share: float) -> None:
    """Whichever of the two is the louder one."""
    first = re.findall(r"data:audio/mpeg;base64,([^\"']+)", demo_page)[0]
    (job / "first.mp3").write_bytes(base64.b64decode(first))
    heard = read_clip(job / "first.mp3")
    down = base64.b64encode(mp3_bytes(replace(heard, samples=heard.samples * np.float32(share)))).decode()
    assert not same_sound(first, down) and not same_sound(down, first)


def test_a_forged_figure_is_quoted_beside_what_it_should_be(job: Path, demo_page: str) -> None:
    """In a row of a table, too, which is one long line."""
    figure = re.search(r"(9\d %) sure", demo_page)
    assert figure
    found = checked(page(job, demo_page.replace(figure[1], "12 %")), job)
    quoted = [text.partition("; made from the job it says ") for text in found if "made from the job" in text]
    assert quoted
    for said, _, is_ in quoted:
        assert "12 %" in said and figure[1] in is_ and "<" not in said + is_


def test_a_page_of_no_state_of_this_job_is_told(job: Path, demo_page: str) -> None:
    head = open_job(job, write=False).chain.head
    assert checked(page(job, demo_page.replace(head, "0" * 64)), job) == [
        "was made from a state that this job never was in"
    ]
    with pytest.raises(ReportError, match="does not say from which state"):
        verify_report(page(job, demo_page.replace("hissway-origin", "x")), job, None, Against(judge=None))


def test_a_page_by_another_version_is_not_accused_and_not_called_whole(
    job: Path, demo_page: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(origin, "program_version", lambda: "9.9")
    found = verify_report(page(job, demo_page.replace("intake", "exhaust", 1)), job, None, Against(judge=None))
    assert not [m for m in found.mismatches if m.what == "report"] and found.skipped


def test_the_command_finds_the_job_a_page_names(job: Path, demo_page: str, capsys: pytest.CaptureFixture[str]) -> None:
    command = ["--jobs", str(job.parent), "verify", "--no-results"]
    assert main([*command, str(page(job, demo_page))]) in (0, 3)
    assert "MISMATCH" not in capsys.readouterr().out
    assert main([*command, str(page(job, demo_page.replace("</main>", "<p>sure</p></main>")))]) == 1
    assert "MISMATCH   report: words" in capsys.readouterr().out
