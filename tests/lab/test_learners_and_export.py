"""Learners and their data: taken in, told apart, exported, shown to the instructor, deleted whole."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import msgspec
import numpy as np
import pytest

from listen.cli.main import main
from listen.errors import LabError
from listen.lab.ear import threshold
from listen.lab.ear.playback import CHECK_BANDS_HZ, check_words, comfortable_gain_db, headphone_check
from listen.lab.ear.threshold import ThresholdRun, thresholds_of
from listen.lab.learners import (
    create_learner,
    delete_learner,
    find_learner,
    lab_root,
    learner_dir,
    learners_dir,
    list_learners,
)
from listen.lab.simulator.render import render
from listen.lab.simulator.scene import RoundSpec
from listen.lab.training.book import Call
from listen.lab.training.drills import shipped_drills
from listen.lab.training.export import write_answers, write_thresholds
from listen.lab.training.instructor import class_focus, class_table
from listen.lab.training.session import start
from listen.signal.clip import Clip
from listen.trade.points import Kind
from listen.voice.figures import MINUS

Rendered = dict[tuple[str, Kind, int], Clip]


@pytest.fixture(autouse=True)
def unheard(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody listens here: all trials of a run are the sound of its first; what the meter is given is real."""
    made: dict[str, Rendered] = {}

    def rendered(spec: RoundSpec) -> Rendered:
        if spec.name == "threshold trial 0":
            return render(spec)
        if spec.background.name not in made:
            made[spec.background.name] = render(spec)
        return made[spec.background.name]

    monkeypatch.setattr(threshold, "render", rendered)


def play(lab: Path, name: str, *calls: Call) -> None:
    """Give the first answers of the beginner drill."""
    session = start(lab, find_learner(lab, name), shipped_drills()[0], seed=1)
    for call in calls:
        session.call(call)
        session.answer()


def test_names_are_told_apart(lab: Path) -> None:
    """Unicode, case and blanks; two people may share letters but not a name."""
    for name in ("Ada", "Łukasz Ø", "  Grace   H  "):
        create_learner(lab, name)
    assert [who.name for who in list_learners(lab)] == ["Ada", "Grace H", "Łukasz Ø"]
    assert find_learner(lab, "ada").name == "Ada"
    for bad, said in (("ADA", "already"), ("  ", "needs a name"), ("x" * 61, "at most 60")):
        with pytest.raises(LabError, match=said):
            create_learner(lab, bad)
    with pytest.raises(LabError, match="known here: Ada, Grace H"):
        find_learner(lab, "Eve")


def test_deleting_a_learner_leaves_nothing_of_them(lab: Path) -> None:
    """And everything of the others."""
    for name in ("Ada", "Bob"):
        create_learner(lab, name)
        play(lab, name, Call(paths=("rings",), sure=0.5))
    ada = find_learner(lab, "Ada")
    one = ThresholdRun(lab, ada, "radio", seed=1)
    while not one.done:
        one.answer(1)
    assert thresholds_of(lab, ada)
    delete_learner(lab, ada)
    assert not learner_dir(lab, ada).exists()
    assert [who.name for who in list_learners(lab)] == ["Bob"]
    left = b"".join(p.read_bytes() for p in lab.rglob("*") if p.is_file())
    assert b"Ada" not in left and len(list(learners_dir(lab).iterdir())) == 1


def test_the_instructor_sees_every_learner_and_the_hardest_spots(lab: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Counts add up; the class's worst tag comes first."""
    for name in ("Ada", "Bob"):
        create_learner(lab, name)
    play(lab, "Ada", *[Call(paths=("rings",), sure=0.9)] * 5)
    play(lab, "Bob", Call())
    ada, bob = class_table(lab)
    assert (ada.score.total, ada.score.right.hits, ada.unfinished, ada.sessions) == (5, 1, 0, 1)
    assert (bob.score.total, bob.score.cannot_tell, bob.unfinished) == (1, 1, 1)
    shares = [r.value or 0.0 for r in class_focus(lab).values()]
    assert shares == sorted(shares)
    assert hissway("score", "--lab", str(lab)) == 0
    told = capsys.readouterr().out.partition("all learners, hardest first\n")[2].splitlines()
    assert [line[2:26].strip() for line in told] == list(class_focus(lab))


def test_answers_as_csv(lab: Path) -> None:
    """One row each, readable by any spreadsheet, and no name becomes a formula."""
    create_learner(lab, '=1+1 "quoted", with comma')
    play(lab, '=1+1 "quoted", with comma', Call(paths=("rings", "intake-valve"), sure=0.75), Call())
    out = io.StringIO(newline="")
    assert write_answers(lab, list_learners(lab), out) == 2
    rows = list(csv.DictReader(io.StringIO(out.getvalue())))
    assert rows[0]["learner"] == '\'=1+1 "quoted", with comma'
    assert (rows[0]["called"], rows[0]["sure"]) == ("rings+intake-valve", "0.75")
    assert (rows[1]["called"], rows[1]["sure"], rows[1]["right"]) == ("cannot tell", "", "")
    assert rows[0]["truth"] and rows[0]["right"] in ("yes", "no")


def test_thresholds_as_csv(lab: Path) -> None:
    """The learner's threshold beside the meter's."""
    ada = create_learner(lab, "Ada")
    one = ThresholdRun(lab, ada, "radio", seed=1)
    while not one.done:
        one.answer(one.trial().hiss_in)
    out = io.StringIO()
    assert write_thresholds(lab, (ada,), out) == 1
    (row,) = csv.DictReader(io.StringIO(out.getvalue()))
    assert float(row["low95_db"]) < float(row["threshold_db"]) < float(row["high95_db"])
    assert row["trials"] == "40" and float(row["meter_same_db"]) < 10


def test_playback_is_brought_to_one_comfortable_level_and_never_to_the_stops() -> None:
    """Clips that are compared get one gain; a peaky one is held below full scale."""
    rng = np.random.default_rng(0)
    faint = Clip.of(rng.standard_normal(48_000) * 1e-3, 48_000)
    loud = Clip.of(rng.standard_normal(48_000) * 0.2, 48_000)
    assert comfortable_gain_db(faint, loud) == comfortable_gain_db(loud, faint) < 0
    assert comfortable_gain_db(faint) == pytest.approx(28.0, abs=0.2)
    spike = np.full(48_000, 1e-4)
    spike[100] = 0.9
    assert 20 * np.log10(0.9) + comfortable_gain_db(Clip.of(spike, 48_000)) <= -3 + 0.01
    assert comfortable_gain_db(Clip.of(np.zeros(100), 48_000)) == 0.0


def test_the_headphone_check_holds_each_band_twice_at_a_low_level() -> None:
    """Noise in one interval, silence in the other, energy where it is said to be."""
    pairs = headphone_check(seed=4)
    assert len(pairs) == 2 * len(CHECK_BANDS_HZ)
    for pair, (low_hz, high_hz) in zip(pairs, CHECK_BANDS_HZ * 2, strict=True):
        noise, silence = pair.clips if pair.hiss_in == 1 else reversed(pair.clips)
        assert not silence.samples.any()
        power = np.abs(np.fft.rfft(noise.samples)) ** 2
        freq = np.fft.rfftfreq(len(noise.samples), 1 / noise.rate_hz)
        assert power[(freq > low_hz * 0.7) & (freq < high_hz * 1.4)].sum() / power.sum() > 0.95
        assert 20 * np.log10(np.std(noise.samples)) == pytest.approx(-42, abs=3)
    assert "all three" in check_words((True,) * 6)
    assert "8-14 kHz" in check_words((True, True, True, True, True, False))


def hissway(*words: str) -> int:
    return main(["lab", *words])


def test_the_lab_without_a_screen(lab: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """list, learners, make, score, next, export: stdout is data, and adds up."""
    at = ("--lab", str(lab))
    assert hissway("learners", *at, "--add", "Ada") == 0
    assert hissway("make", *at, "Faint", "--rounds", "2", "--seconds", "0.5", "--truths", "rings", "none") == 0
    play(lab, "Ada", Call(paths=("rings",), sure=0.5))
    capsys.readouterr()
    assert hissway("list", *at, "--json") == 0
    drills = [msgspec.json.decode(line) for line in capsys.readouterr().out.splitlines()]
    assert [d["id"] for d in drills] == ["beginner", "intermediate", "trap", "faint"]
    assert hissway("score", *at, "Ada", "--json") == 0
    assert msgspec.json.decode(capsys.readouterr().out)["score"]["total"] == 1
    assert hissway("score", *at) == 0
    assert "1 round called" in capsys.readouterr().out
    assert hissway("next", *at, "Ada") == 0
    assert capsys.readouterr().out.startswith("beginner: First leaks. Begun")
    assert hissway("export", *at, "--class") == 0
    assert capsys.readouterr().out.startswith("learner,rounds,right_percent")
    assert hissway("export", *at, "-o", str(tmp_path / "a.csv")) == 0
    assert len((tmp_path / "a.csv").read_text().splitlines()) == 2
    assert hissway("learners", *at, "--delete", "Ada") == 0
    assert capsys.readouterr().out == ""


def test_without_an_action_the_drills_are_listed(
    lab: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """And where they are played is said on stderr."""
    monkeypatch.setenv("HISSWAY_LAB", str(lab))
    assert hissway() == 0
    said = capsys.readouterr()
    assert said.out.startswith("beginner") and "screens" in said.err


def test_a_threshold_is_told_with_how_it_moved(lab: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Over weeks, per background, even before the first drill."""
    ada = create_learner(lab, "Ada")
    for name, seed in (("radio", 1), ("radio", 2), ("idle shop", 3)):
        one = ThresholdRun(lab, ada, name, seed=seed)
        while not one.done:
            one.answer(one.trial().hiss_in)
    (row,) = class_table(lab)
    assert {name: len(runs) for name, runs in row.thresholds.items()} == {"idle shop": 1, "radio": 2}
    assert hissway("score", "--lab", str(lab)) == 0
    told = capsys.readouterr().out
    assert told.count("ear threshold") == 2 and "2 runs" in told


@pytest.mark.parametrize(
    "words",
    [
        ("score", "Nobody"),
        ("make", "x", "--backgrounds", "/nowhere"),
        ("from-job", "/nowhere"),
        ("export", "-o", "/nowhere/x.csv"),
        ("next", "Nobody"),
    ],
)
def test_failures_are_one_line_and_exit_code_one(
    lab: Path, words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    """Never a traceback."""
    assert hissway(*words, "--lab", str(lab)) == 1
    said = capsys.readouterr()
    assert said.out == "" and said.err.startswith("hissway: ") and said.err.count("\n") == 1


def test_unknown_actions_are_usage_errors(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 2."""
    with pytest.raises(SystemExit) as stopped:
        hissway("sing")
    assert stopped.value.code == 2


def test_the_lab_lies_where_the_user_says(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Option, then environment, then the platform's place."""
    monkeypatch.setenv("HISSWAY_LAB", str(tmp_path / "env"))
    assert lab_root(tmp_path / "option") == tmp_path / "option"
    assert lab_root() == tmp_path / "env"
    monkeypatch.delenv("HISSWAY_LAB")
    assert lab_root().name == "lab"


def test_who_was_here_last_is_not_the_first_by_alphabet(lab: Path) -> None:
    """Answers must not go to the wrong person: whoever was measured last is suggested, else whoever came last."""
    from listen.lab.training.instructor import last_here

    assert last_here(lab) is None
    zoe, ada = create_learner(lab, "Zoe"), create_learner(lab, "Ada")
    one = ThresholdRun(lab, zoe, "radio", seed=1)
    while not one.done:
        one.answer(one.trial().hiss_in)
    assert last_here(lab) == zoe
    assert ada in list_learners(lab)


def test_ten_learners_stand_on_one_screen(lab: Path) -> None:
    """One line each, within 80 columns, however long a name is."""
    from listen.lab.training.instructor import CLASS_HEAD, class_row, class_table

    for n in range(10):
        create_learner(lab, f"{n} {'with a very long name ' * 2}")
    rows = [class_row(row) for row in class_table(lab)]
    assert len(rows) == 10 and all(len(row) == 1 and len(row[0]) <= 76 and row[0].isprintable() for row in rows)
    assert len(CLASS_HEAD) <= 76


@pytest.mark.parametrize("columns", [46, 76])
def test_the_fullest_row_of_the_class_fits_its_columns(lab: Path, columns: int) -> None:
    """The page leaves 4 columns beside the text: 76 of 80, 46 of 50, where a learner has two lines."""
    from listen.lab.training.instructor import CLASS_HEAD, SHORT_HEAD, class_row, class_table
    from listen.rate import Rate

    create_learner(lab, "Wilhelmine-Charlotte")
    (row,) = class_table(lab)
    full = msgspec.structs.replace(row.score, right=Rate(1000, 1000, 0.99, 1.0), overconfidence=-0.55)
    lines = class_row(
        msgspec.structs.replace(row, score=full, weakest=("exhaust valve",), last="2026-11-27T10:00:00+00:00"), columns
    )
    assert len(lines) == (1 if columns == 76 else 2)
    assert max(map(len, (*lines, CLASS_HEAD if columns == 76 else SHORT_HEAD))) <= columns
    for words in ("Wilhelmine", "100 % of 1000", f"{MINUS}55 %", "exhaust valve", "2026-11-27"):
        assert words in "\n".join(lines)
