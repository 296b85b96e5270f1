"""The owner's page as it looks: at a phone, a desk and on A4, in three languages, held against pictures kept here.

Compared coarsely, so that another machine's fonts pass and a lost drawing, a fallen column or a second screen does not.
``python -m tests.report.test_pictures`` takes them anew; look at each before you keep it.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
from functools import cache
from html import escape
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from listen.lab.shipped import demo_job
from listen.report.build import Wanted, report_text
from listen.report.owner_words import LANGUAGES
from tests.report.test_browser import browse, packages_expected, pytestmark  # noqa: F401  these need a Chromium too

KEPT = Path(__file__).parent / "pictures"
SCREENS = {"phone": (390, 844), "desk": (1280, 900)}
"""Pixels, wide and high."""
PAPER_DPI = 60
BLOCK = 16
"""Pixels of a block of which only the mean counts: words of other fonts fill it about alike."""
MOST_APART = 0.5
"""Mean difference of blocks over the mean ink of the kept picture. Judgement, with room for another machine's fonts; a
page moved by three blocks or without its drawing lies beyond it (a test below)."""
MOST_BYTES = 2_000_000
SIZES = (*SCREENS, "a4")
needs_pdftoppm = pytest.mark.skipif(
    shutil.which("pdftoppm") is None and not packages_expected(), reason="no pdftoppm on this machine"
)


def still(text: str) -> str:
    """A page without what a frame would not allow or a picture not show."""
    return re.sub(r'src="data:audio[^"]+"', "", re.sub(r"<meta http-equiv[^>]+>", "", text))


def screens(pages: dict[str, str], room: Path, size: str) -> dict[str, Image.Image]:
    """All pages in frames side by side, in one look."""
    wide, high = SCREENS[size]
    frames = "".join(
        f'<iframe width="{wide}" height="{high}" scrolling="no" srcdoc="{escape(p)}"></iframe>' for p in pages.values()
    )
    harness, shot = room / f"{size}.html", room / f"{size}.png"
    style = "<style>body{margin:0;white-space:nowrap;font-size:0}iframe{border:0}</style>"
    harness.write_text(f"<!DOCTYPE html><meta charset=utf-8><title>x</title>{style}{frames}", "utf-8")
    whole = f"--window-size={wide * len(pages)},{high}"
    browse(harness, room, whole, "--force-device-scale-factor=1", "--hide-scrollbars", f"--screenshot={shot}")
    image = Image.open(shot).convert("L")
    return {name: image.crop((wide * i, 0, wide * (i + 1), high)) for i, name in enumerate(pages)}


def paper(pages: dict[str, str], room: Path) -> dict[str, Image.Image]:
    """The first sheet of each as it is printed."""
    found = {}
    for name, text in pages.items():
        page, pdf = room / f"{name}.html", room / f"{name}.pdf"
        page.write_text(text, "utf-8")
        browse(page, room, f"--print-to-pdf={pdf}", "--no-pdf-header-footer")
        at = room / f"a4-{name}"
        subprocess.run(["pdftoppm", "-f", "1", "-l", "1", "-r", str(PAPER_DPI), "-gray", pdf, at], check=True)
        found[name] = Image.open(next(room.glob(f"a4-{name}*.pgm"))).convert("L")
    return found


def blocks(image: Image.Image) -> np.ndarray:
    """Mean ink of each block, 0 for paper to 1 [shape=(rows, columns)]."""
    ink = 1.0 - np.asarray(image, dtype=np.float64) / 255.0
    rows, columns = (n // BLOCK for n in ink.shape)
    return ink[: rows * BLOCK, : columns * BLOCK].reshape(rows, BLOCK, columns, BLOCK).mean(axis=(1, 3))


def apart(image: Image.Image, kept: Image.Image) -> float:
    """How far two pictures differ; endless where their sizes do."""
    if image.size != kept.size:
        return float("inf")
    a, b = blocks(image), blocks(kept)
    paper_ink = float(np.median(b))
    return float(np.abs(a - b).mean() / np.abs(b - paper_ink).mean())


@cache
def owner_pages(folder: Path) -> dict[str, str]:
    """The demo's report in every language."""
    return {language: still(report_text(folder, Wanted(language=language))) for language in LANGUAGES}


def taken(folder: Path, room: Path, size: str) -> dict[str, Image.Image]:
    """All languages at one size."""
    pages = owner_pages(folder)
    return paper(pages, room) if size == "a4" else screens(pages, room, size)


@pytest.mark.parametrize("size", [*SCREENS, pytest.param("a4", marks=needs_pdftoppm)])
def test_the_owners_page_looks_as_it_was_kept(demo: Path, tmp_path: Path, size: str) -> None:
    for language, image in taken(demo, tmp_path, size).items():
        kept = Image.open(KEPT / f"{size}-{language}.png").convert("L")
        how_far = apart(image, kept)
        if how_far > MOST_APART:
            image.save(tmp_path / f"{size}-{language}.png")
        assert how_far <= MOST_APART, f"{tmp_path}/{size}-{language}.png differs by {how_far:.2f} from the kept one"


def test_a_page_without_its_drawing_or_moved_down_would_be_noticed() -> None:
    """The measure itself, on the kept picture of a phone."""
    kept = Image.open(KEPT / "phone-en.png").convert("L")
    moved = Image.new("L", kept.size, 255)
    moved.paste(kept, (0, 3 * BLOCK))
    gone = kept.copy()
    gone.paste(int(np.median(np.asarray(kept))), (0, kept.size[1] // 3, kept.size[0], kept.size[1] * 9 // 10))
    assert apart(kept, kept) == 0.0
    assert apart(moved, kept) > MOST_APART and apart(gone, kept) > MOST_APART


@needs_pdftoppm
def test_the_last_sheet_is_not_nearly_empty(demo: Path, tmp_path: Path) -> None:
    """A4, everything unfolded: what stands on the last sheet fills a quarter of it."""
    from listen.cli.main import main as hissway

    assert hissway(["report", str(demo), "-o", str(tmp_path / "r.pdf")]) == 0
    subprocess.run(["pdftoppm", "-r", "30", "-gray", tmp_path / "r.pdf", tmp_path / "sheet"], check=True)
    last = blocks(Image.open(sorted(tmp_path.glob("sheet*.pgm"))[-1]))
    assert np.flatnonzero(last.max(axis=1) > 0.01).max() + 1 >= len(last) / 4


def test_the_page_with_its_sounds_is_below_two_megabytes(demo: Path) -> None:
    for language in LANGUAGES:
        assert len(report_text(demo, Wanted(language=language)).encode()) < MOST_BYTES


AXE = """<script>addEventListener("load", () => axe.run(document, {elementRef: false}).then(found => {
  const said = found.violations.map(v => `${v.id}: ${v.nodes.length} (${v.nodes[0].target})`).join("; ");
  document.body.append(`axe ran ${found.passes.length}, found [${said}]`);
}));</script>"""


@pytest.mark.skipif(find_spec("axe_core_python") is None, reason="axe is not installed: install hissway[dev]")
@pytest.mark.parametrize("language", LANGUAGES)
def test_axe_finds_nothing(demo: Path, tmp_path: Path, language: str) -> None:
    """The rules of axe-core (WCAG 2 A and AA and good practice) over the whole page, everything unfolded."""
    spec = find_spec("axe_core_python")
    assert spec is not None and spec.submodule_search_locations
    rules = (Path(spec.submodule_search_locations[0]) / "axe.min.js").read_text("utf-8")
    text = still(report_text(demo, Wanted(language=language, unfolded=True)))
    page = tmp_path / "page.html"
    page.write_text(text.replace("</body>", f"<script>{rules}</script>{AXE}</body>"), "utf-8")
    dom = browse(page, tmp_path / "room", "--virtual-time-budget=20000", "--dump-dom").stdout
    (ran, found) = re.findall(r"axe ran (\d+), found \[(.*?)\]", dom.rsplit("</script>", 1)[-1])[0]
    assert int(ran) > 15
    assert found == ""


def main() -> int:
    """Take the pictures anew."""
    KEPT.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as room:
        folder = demo_job(Path(room))
        for size in SIZES:
            for language, image in taken(folder, Path(room), size).items():
                image.quantize(16).save(KEPT / f"{size}-{language}.png", optimize=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
