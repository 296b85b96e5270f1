"""What a user is shown of an error is one printable line, whatever a hostile file name holds."""

from __future__ import annotations

import pytest

from listen.errors import ClipError, HisswayError


@pytest.mark.parametrize(
    ("words", "shown"),
    [
        ("a.wav: empty file; record it again", "a.wav: empty file; record it again"),
        ("a\nb\tc.wav: empty", "a b c.wav: empty"),
        ("\x1b[2Jgone\x07", "\N{REPLACEMENT CHARACTER}[2Jgone\N{REPLACEMENT CHARACTER}"),
        ("\udcff\u202egpj.wav", "\N{REPLACEMENT CHARACTER}\N{REPLACEMENT CHARACTER}gpj.wav"),
        ("Größe 5 °C – gut", "Größe 5 °C – gut"),
    ],
)
def test_an_error_is_one_printable_line(words: str, shown: str) -> None:
    assert str(ClipError(words)) == shown
    assert str(HisswayError(words)).isprintable()
    str(HisswayError(words)).encode("utf-8")


def test_a_file_that_quotes_itself_is_cut_and_the_advice_kept() -> None:
    shown = str(ClipError(f"a.json: form {'x' * 5000!r}; this version reads hissway.drill/1"))
    assert len(shown) < 620
    assert shown.startswith("a.json: form")
    assert shown.endswith("this version reads hissway.drill/1")
