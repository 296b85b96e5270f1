"""Protects readers with weak eyes: every text colour stands out from its ground in light, dark and print."""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

TEXT = ("--ink", "--soft", "--accent", "--fault", "--good", "--air", "--quiet")
GROUND = ("--paper", "--sheet", "--tint", "--warn")
LEAST = 4.5
"""Contrast of text against its ground (WCAG 2.2, 1.4.3)."""
LEAST_MARK = 3.0
"""Contrast of what is drawn (WCAG 2.2, 1.4.11)."""


def palettes() -> dict[str, dict[str, str]]:
    css = files("listen.report").joinpath("templates/style.css").read_text("utf-8")
    blocks = re.findall(r":root \{(.*?)\}", css, flags=re.DOTALL)
    found = [dict(re.findall(r"(--[a-z-]+): (#[0-9a-f]{3,6})", block)) for block in blocks]
    return dict(zip(("light", "dark", "print"), found, strict=True))


def luminance(colour: str) -> float:
    digits = colour[1:] if len(colour) == 7 else "".join(c * 2 for c in colour[1:])
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("name", ["light", "dark", "print"])
def test_texts_and_marks_stand_out(name):
    palette = palettes()[name]
    for ground in GROUND:
        for text in TEXT:
            assert contrast(palette[text], palette[ground]) >= LEAST, (text, ground)
        assert contrast(palette["--warn-line"], palette[ground]) >= LEAST_MARK, ground


def test_the_measure_itself():
    assert contrast("#000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)
