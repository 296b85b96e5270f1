"""Protects the names of folders made from what people type."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from listen.plain_name import plain_name


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Räder & Söhne: V8 (2nd)", "rader-sohne-v8-2nd"),
        ("../../etc/passwd", "etc-passwd"),
        ("测试 🔧", ""),
        ("a" * 39 + " b", "a" * 39),
    ],
)
def test_what_becomes_of_a_title(text: str, name: str) -> None:
    assert plain_name(text) == name


@given(st.text(), st.integers(1, 60))
def test_any_text_gives_a_name_that_is_harmless_and_stable(text: str, most: int) -> None:
    name = plain_name(text, most)
    assert re.fullmatch("([a-z0-9]+(-[a-z0-9]+)*)?", name)
    assert len(name) <= most
    assert plain_name(name, most) == name
