"""Protects the other forms and the command: Markdown shows names literally, JSON is JSON, errors are one line."""

from __future__ import annotations

import csv
import io
import json
import re

import pytest

from listen.cli.main import main
from listen.errors import ReportError, UsageError
from listen.jobs.events import ByEarCalled, CautionAcknowledged, FindingRecorded, ReadingEntered, RoundOpened
from listen.jobs.folder.store import create_job
from listen.report.build import Wanted, report_text, write_report
from listen.report.pages import clean, clean_tree, markdown
from listen.trade.engine import layout
from listen.trade.units import KPA_PER
from listen.voice.figures import UNKNOWN


def test_json_holds_the_whole_content_and_nothing_that_is_no_json(demo, hostile):
    for folder in (demo, hostile):
        data = json.loads(report_text(folder, Wanted(form="json")), parse_constant=pytest.fail)
        assert data["schema"] == "hissway.report/2"
        assert data["diagnosis"]["schema"] == "hissway.diagnosis/1"
        assert data["rounds"] and data["clips"] and data["owner"]["found"]
    assert "\u202e" not in json.dumps(data, ensure_ascii=False)


def test_markdown_shows_hostile_names_literally(hostile):
    text = report_text(hostile, Wanted(form="md"))
    assert "<script" not in text.replace("\\<script", "")
    rows = [line for line in text.splitlines() if line.startswith("| 3 |")]
    assert rows and all(row.replace("\\|", "").count("|") == 11 for row in rows)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("a|b", r"a\|b"),
        ("- x", r"\- x"),
        ("# x", r"\# x"),
        ("1. x", r"1\. x"),
        ("a\nb", "a b"),
        ("a-b 2026-01", "a-b 2026-01"),
    ],
)
def test_markdown_escapes(text, expected):
    assert markdown(text) == expected


def test_clean_keeps_words_and_takes_out_what_steers():
    assert clean("Größe 12 °C, 日本\n") == "Größe 12 °C, 日本\n"
    assert (
        clean("a\x1b[2J\u202eb\ud800")
        == "a\N{REPLACEMENT CHARACTER}[2J\N{REPLACEMENT CHARACTER}b\N{REPLACEMENT CHARACTER}"
    )
    assert clean("\U0001ffff") == "\N{REPLACEMENT CHARACTER}"
    assert clean_tree({"a": [float("nan"), 1.5, "x\x00"]}) == {"a": [None, 1.5, "x\N{REPLACEMENT CHARACTER}"]}


def test_before_and_after_stand_side_by_side(demo):
    page = report_text(demo, Wanted(form="json", before=demo))
    rows = json.loads(page)["before"]["rows"]
    assert any("dry compression" in r["what"] for r in rows)
    assert all(r["beyond"] in (False, None) for r in rows)  # a job against itself changed in nothing


def test_before_and_after_show_readings_as_entered(tmp_path):
    """A shop that reads psi finds its own figures, with whole kPa beside."""

    def tested(title: str, psi: float):
        with create_job(tmp_path, title=title, engine=layout("inline-4")) as opened:
            si = psi * KPA_PER["psi"]
            opened.append(ReadingEntered(reading="compression-dry", value=psi, unit="psi", si=si, cylinder=2))
            return opened.folder

    before, after = tested("before", 100), tested("after", 174)
    (row,) = json.loads(report_text(after, Wanted(form="json", before=before)))["before"]["rows"]
    assert (row["before"], row["after"]) == ("100 psi (689 kPa)", "174 psi (1200 kPa)")
    assert row["change"] == "+510 kPa ± 69"


def test_what_changed_stands_before_what_was_measured_once(tmp_path):
    """After a repair one cylinder is tested again: its rows lead, and nothing is called another kind of nothing."""

    def tested(title: str, *losses: tuple[int, float]):
        with create_job(tmp_path, title=title, engine=layout("inline-4")) as opened:
            for n, loss in losses:
                opened.append(ReadingEntered(reading="loss", value=loss, unit="percent", si=loss, cylinder=n))
            return opened.folder

    before, after = tested("before", (1, 8), (2, 9), (3, 41)), tested("after", (2, 9), (3, 12))
    rows = json.loads(report_text(after, Wanted(form="json", before=before)))["before"]["rows"]
    assert [r["what"] for r in rows] == [f"Cylinder {n}, loss" for n in (3, 2, 1)]


def test_a_verdict_that_has_no_other_beside_it_is_of_no_other_kind(demo, tmp_path):
    with create_job(tmp_path, title="after", engine=layout("inline-5")) as opened:
        opened.append(ReadingEntered(reading="loss", value=8, unit="percent", si=8, cylinder=5))
    rows = json.loads(report_text(opened.folder, Wanted(form="json", before=demo)))["before"]["rows"]
    assert {r["change"] for r in rows if r["what"].endswith("verdict")} == {UNKNOWN}


def test_which_cautions_were_read_can_be_told_from_the_list(demo):
    """What was acknowledged names the marks that its cautions bear in the list, and no others bear them."""
    report = json.loads(report_text(demo, Wanted(form="json")))
    text, page = report_text(demo, Wanted(form="md")), report_text(demo, Wanted(audio=False))
    sentences = {c for r in report["rounds"] for c in r["cautions"]}
    assert sentences  # one a way of taking rounds
    for sentence in sentences:
        marks = re.findall(r'"([^"]+)"', sentence)
        listed = [line for line in text.splitlines() if line.startswith(tuple(f"- {m}: " for m in marks))]
        assert sentence.startswith(f"the {len(listed)} cautions marked") and len(listed) > 2
        assert all(f'<span class="soft">{m}:</span>' in page for m in marks)


def test_a_caution_of_another_version_is_called_that(tmp_path):
    with create_job(tmp_path, title="", engine=layout("inline-4")) as opened:
        opened.append(RoundOpened(round_id="r", cylinder=1), CautionAcknowledged(caution="new-one", round_id="r"))
        assert "&#39;new-one&#39;, a caution this version does not know" in report_text(opened.folder)


def test_markdown_names_each_clips_kind_once(demo):
    text = report_text(demo, Wanted(form="md"))
    assert "| quiet |" in text and "| air |" in text and "| quiet, closing |" in text
    assert "quiet quiet" not in text and "air air" not in text


def test_markdown_says_of_every_round_what_judged_it_and_what_it_had_learnt(demo):
    rounds = json.loads(report_text(demo, Wanted(form="json")))["rounds"]
    text = report_text(demo, Wanted(form="md"))
    assert rounds
    for part in rounds:
        said = f"Round opened {part['opened']}. {part['judged_by']}"
        assert said.replace(">", r"\>") in text  # a plain one would begin a quotation


def test_hit_rate_is_there_on_request_and_empty_without_teardowns(demo, hostile):
    assert json.loads(report_text(demo, Wanted(form="json", shop=demo.parent)))["hit_rate"] == []
    rows = json.loads(report_text(hostile, Wanted(form="json", shop=hostile.parent)))["hit_rate"]
    assert rows[0][0] == "Said by" and len(rows) > 1


def test_the_command_writes_files_by_suffix_and_standard_output_without_one(demo, tmp_path, capsys):
    for name, begins in (("a.html", "<!DOCTYPE html>"), ("a.md", "# Leakage"), ("a.json", "{")):
        assert main(["report", str(demo), "--no-audio", "-o", str(tmp_path / name)]) == 0
        assert (tmp_path / name).read_text("utf-8").lstrip().startswith(begins)
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "MB" in captured.err
    assert main(["report", str(demo), "--format", "md"]) == 0
    assert capsys.readouterr().out.startswith("# Leakage")
    assert not list(tmp_path.glob(".*"))


def test_what_cannot_be_done_is_one_line(demo, tmp_path, capsys):
    assert main(["--jobs", str(tmp_path), "report", "nowhere"]) == 1
    assert main(["report", str(demo), "--no-audio", "-o", str(tmp_path / "no" / "such" / "a.html")]) == 1
    err = capsys.readouterr().err
    assert err.count("\n") == 2 and "Traceback" not in err
    with pytest.raises(ReportError, match="cannot be written"):
        write_report(demo, tmp_path, Wanted(form="json"))


def test_the_shops_calls_come_as_csv_with_their_hit_rate(tmp_path, capsys):
    """Ear and tool apart, one row a call, from the command line; what was stated stands beside what was right."""
    root = tmp_path / "jobs"
    with create_job(root, title="=cmd", engine=layout("inline-4")) as opened:
        opened.append(
            RoundOpened(round_id="r", cylinder=2),
            ByEarCalled(round_id="r", paths=("rings",), sure=0.9, name="Ann"),
            FindingRecorded(cylinder=2, paths=("rings", "intake-valve")),
        )
    assert main(["--jobs", str(root), "report", "--hit-rate", "-o", str(tmp_path / "calls.csv")]) == 0
    talk = capsys.readouterr()
    assert talk.out == "" and "90 %  1  1  100 %" in talk.err
    (row,) = csv.DictReader(io.StringIO((tmp_path / "calls.csv").read_text()))
    assert (row["by"], row["said"], row["sure"], row["right"]) == ("tech", "rings", "0.900", "1")
    assert row["title"] == "'=cmd" and row["truth"] == "rings intake-valve"
    assert main(["--jobs", str(root), "report", "--hit-rate", "--format", "csv"]) == 0
    assert capsys.readouterr().out == (tmp_path / "calls.csv").read_bytes().decode()


def test_csv_without_a_hit_rate_and_no_job_at_all_are_refused(tmp_path, capsys):
    """One sentence each."""
    assert main(["--jobs", str(tmp_path), "report", "--format", "csv"]) == UsageError.exit_code
    assert "--hit-rate" in capsys.readouterr().err
    assert main(["--jobs", str(tmp_path), "report"]) == UsageError.exit_code
    assert "no JOB named" in capsys.readouterr().err
