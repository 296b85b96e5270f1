"""One voice: what each figure and name reads like, written out; and nowhere else are they put into words."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from listen.trade.points import PathId
from listen.voice import figures, names, times, verdicts
from listen.voice.text import plain

ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (0.0, "<1 %"),
        (0.0099, "<1 %"),
        (0.01, "1 %"),
        (0.905, "90 %"),
        (0.97, "97 %"),
        (0.99, "99 %"),
        (0.9901, ">99 %"),
        (1.0, ">99 %"),
        (None, "–"),
    ],
)
def test_a_probability_never_reads_as_certain(probability: float | None, words: str) -> None:
    assert figures.sure(probability) == words


def test_a_range_that_reads_the_same_at_both_ends_is_one_figure() -> None:
    assert figures.sure_range(0.9301, 0.9349) == "93 %"
    assert figures.sure_range(0.71, 0.995) == "71 % to >99 %"


def test_counted_shares_can_be_none_or_all() -> None:
    assert (figures.share(0.0), figures.share(1.0), figures.share(None)) == ("0 %", "100 %", "–")
    assert figures.share_interval((0.5, 0.925)) == "50 % to 92 %"


def test_decibels_have_a_true_minus_and_no_signed_zero() -> None:
    assert figures.decibels(-3.25) == "\u22123.2 dB"
    assert figures.decibels(2.0) == "+2.0 dB"
    assert figures.decibels(-0.04) == "0.0 dB"
    assert figures.decibels(None) == "–"


def test_a_reading_keeps_the_digits_it_was_entered_with() -> None:
    assert figures.as_read(0.08, "percent") == "0.08 %"
    assert figures.as_read(120, "psi") == "120 psi"
    assert figures.pressure(827.4, "psi") == "120 psi"


def test_cannot_tell_has_no_path_and_no_figure() -> None:
    assert verdicts.verdict("unclear", ("none", "rings"), 0.69) == "cannot tell"
    assert verdicts.verdict("path", ("intake-valve",), 0.97) == "intake valve, 97 %"
    assert verdicts.verdict("several", ("intake-valve", "rings"), 0.93, short=True) == "intake + rings, 93 %"
    assert verdicts.verdict("sound", ("none",), 0.995) == "sound, >99 %"


def test_every_path_and_kind_has_its_words_and_sign() -> None:
    assert {p: names.path(p) for p in PathId if names.path(p) == p.value} == {
        PathId.RINGS: "rings",
        PathId.FITTING: "fitting",
        PathId.SET_UP: "set-up",
    }
    assert set(verdicts.GLYPHS) == set(verdicts.FORMS)


def test_what_a_newer_program_wrote_is_shown_and_cannot_steer_the_terminal() -> None:
    assert names.path("valve-guide") == "valve-guide"
    assert "\x1b" not in names.point_name("\x1b[2Jintake") + names.plug_looks(["\x1b[2J"]) + names.symptom_name("\x1b")
    assert plain("a\u202eb\x07c\nd") == "a▯b▯c d"


def test_moments_are_local(monkeypatch: pytest.MonkeyPatch) -> None:
    import time

    monkeypatch.setenv("TZ", "Etc/GMT-2")
    time.tzset()
    try:
        assert times.moment("2026-03-01T23:30:00Z") == "2026-03-02 01:30"
        assert times.moment_and_zone("2026-03-01T23:30:00Z") == "2026-03-02 01:30 (UTC+02)"
        assert times.day("2026-03-01T23:30:00Z") == "2026-03-02"
        assert times.moment("yesterday") == "yesterday"
        monkeypatch.setenv("TZ", "IST-5:30")
        time.tzset()
        assert times.moment_and_zone("2026-03-01T23:30:00Z") == "2026-03-02 05:00 (UTC+05:30)"
    finally:
        monkeypatch.undo()
        time.tzset()


PUTS_INTO_WORDS = re.compile(r"100(\.0)? \* .*:\.0f\} %|:\.0%\}|PATH_WORDS\[|[<>]1 %|[<>]99 %")
"""A probability or share made into a percentage by hand, or a path named past the voice."""


def test_nobody_else_puts_probabilities_and_paths_into_words() -> None:
    files = [p for room in ("listen", "tui") for p in (ROOT / room).rglob("*.py")]
    assert len(files) > 200
    elsewhere = [
        f"{p.relative_to(ROOT)}:{n}"
        for p in files
        if p.relative_to(ROOT).parts[:2] not in {("listen", "voice"), ("listen", "bench"), ("listen", "signal")}
        for n, line in enumerate(p.read_text("utf-8").splitlines(), 1)
        if PUTS_INTO_WORDS.search(line)
    ]
    assert elsewhere == []
