"""Protects the page where it is read: a real browser opens it without an error or a request, hears it, prints it."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from html import escape
from pathlib import Path

import pytest

from listen.report.build import Wanted, report_text
from listen.report.owner_words import LANGUAGES
from tests.sound_server import packages_expected

BROWSER = next((b for b in ("chromium", "chromium-browser", "google-chrome") if shutil.which(b)), None)
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--enable-logging=stderr",
    "--host-resolver-rules=MAP * ~NOTFOUND",  # the browser's own calls home go nowhere
)
pytestmark = [
    pytest.mark.system_packages,
    pytest.mark.skipif(BROWSER is None and not packages_expected(), reason="no Chromium on this machine"),
]


def browse(page: Path, room: Path, *flags: str) -> subprocess.CompletedProcess[str]:
    """Open a page once, with a profile of its own."""
    room.mkdir(exist_ok=True)
    command = [str(BROWSER), *FLAGS, f"--user-data-dir={room / 'profile'}", *flags, page.as_uri()]
    return subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)


def asked_by_the_page(log: Path) -> set[str]:
    """Addresses beyond file and data that the page itself asked for (the browser's own have no origin)."""
    text = log.read_text("utf-8")
    events = json.loads(text if text.rstrip().endswith("}") else text.rstrip().rstrip(",") + "]}")["events"]
    asked = [e["params"] for e in events if "initiator" in e.get("params", {}) and "url" in e["params"]]
    return {
        p["url"] for p in asked if p["initiator"] != "not an origin" and not p["url"].startswith(("file:", "data:"))
    }


@pytest.fixture(params=["demo_page", "hostile_page"])
def page(request, tmp_path) -> Path:
    path = tmp_path / "report.html"
    path.write_text(request.getfixturevalue(request.param), "utf-8")
    return path


def test_the_page_opens_and_prints_without_console_error_or_request(page, tmp_path):
    log, pdf = tmp_path / "net.json", tmp_path / "report.pdf"
    done = browse(page, tmp_path / "room", f"--log-net-log={log}", f"--print-to-pdf={pdf}")
    assert "CONSOLE" not in done.stderr, done.stderr
    assert pdf.read_bytes().startswith(b"%PDF") and pdf.stat().st_size > 20_000
    assert asked_by_the_page(log) == set()


MEASURE = """<!DOCTYPE html><title>x</title>{frames}<script>
addEventListener("load", () => {{ for (const frame of document.querySelectorAll("iframe")) {{
  const page = frame.contentDocument, table = page.querySelector("#engine table"), broken = [];
  for (const cell of table.querySelectorAll("td, th")) {{
    const texts = page.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
    for (let text; (text = texts.nextNode());) for (const word of text.data.matchAll(/[^\\s-]+/g)) {{
      const range = page.createRange();
      range.setStart(text, word.index);
      range.setEnd(text, word.index + word[0].length);
      if (new Set([...range.getClientRects()].map(r => r.top)).size > 1) broken.push(word[0]);
    }}
  }}
  for (const text of page.querySelectorAll("td[data-label=Loss] bdi"))
    if (new Set([...text.getClientRects()].map(r => r.top)).size > 1) broken.push(text.textContent);
  frame.after(`width ${{frame.width}}: hidden ${{page.documentElement.scrollWidth - frame.width}}, `
    + `broken ${{broken}};`);
}} }});
</script>"""


def test_a_bullet_stands_in_the_gap_and_not_on_the_words_of_the_column_before(demo_page):
    """The list's own indent is left of its first column alone; of the next one it lies in the gap."""
    rules = r"column-gap: ([\d.]+)rem", r"ul, ol { padding-left: ([\d.]+)rem"
    gap, indent = (float(re.search(rule, demo_page)[1]) for rule in rules)
    assert gap >= 2 * indent


def test_the_readings_table_breaks_no_word_and_no_figure_and_fits_a_tablet(demo_page, tmp_path):
    """On a telephone its cells stand below each other; nothing is ever wider than the page."""
    page = re.sub(r"<meta http-equiv[^>]+>", "", demo_page)
    page = re.sub(r"<audio.*?</audio>", "", page)
    frames = "".join(f'<iframe width="{w}" srcdoc="{escape(page)}"></iframe>' for w in (390, 794))
    harness = tmp_path / "harness.html"
    harness.write_text(MEASURE.format(frames=frames), "utf-8")
    found = re.findall(
        r"width (\d+): hidden (-?\d+), broken ([^;]*);", browse(harness, tmp_path / "room", "--dump-dom").stdout
    )
    assert [(width, broken) for width, _, broken in found] == [("390", ""), ("794", "")]
    assert [int(hidden) <= 0 for _, hidden, _ in found] == [True, True]


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_owners_part_is_one_screen_of_a_phone(demo, language, tmp_path):
    """390 by 844 pixels hold it whole, the drawing and the sound included."""
    page = re.sub(r"<meta http-equiv[^>]+>", "", report_text(demo, Wanted(language=language)))
    page = re.sub(r'src="data:[^"]+"', "", page)
    harness = tmp_path / "harness.html"
    frame = f'<iframe width="390" height="844" srcdoc="{escape(page)}"></iframe>'
    harness.write_text(OWNER.format(frames=frame), "utf-8")
    dom = browse(harness, tmp_path / "room", "--dump-dom").stdout
    (bottom, controls, pictures) = map(float, re.findall(r"owner ([\d.]+) (\d+) (\d+);", dom)[0])
    assert 400 < bottom <= 844
    assert (controls, pictures) == (1, 1)


def test_a_pdf_comes_from_the_browser_with_everything_unfolded(demo, tmp_path, capsys):
    from listen.cli.main import main

    assert main(["report", str(demo), "-o", str(tmp_path / "r.pdf")]) == 0
    assert (tmp_path / "r.pdf").read_bytes().startswith(b"%PDF")
    assert [p.name for p in tmp_path.iterdir()] == ["r.pdf"]
    assert "<details><summary>" not in report_text(demo, Wanted(audio=False, unfolded=True))


OWNER = """<!DOCTYPE html><title>x</title>{frames}<script>
addEventListener("load", () => {{
  const frame = document.querySelector("iframe"), owner = frame.contentDocument.querySelector("#owner");
  const count = (what) => owner.querySelectorAll(what).length;
  frame.after(`owner ${{owner.getBoundingClientRect().bottom}} ${{count("audio")}} ${{count("svg")}};`);
}});
</script>"""


def test_what_would_break_the_policy_would_be_noticed(tmp_path):
    image = '<img src="http://leak.invalid/x" alt="">'
    policy = "<meta http-equiv='Content-Security-Policy' content=\"default-src 'none'\">"
    for name, head, noticed in (("open", "", "request"), ("closed", policy, "console")):
        page, log = tmp_path / f"{name}.html", tmp_path / f"{name}.json"
        page.write_text(f"<!DOCTYPE html><title>x</title>{head}{image}", "utf-8")
        done = browse(page, tmp_path / name, f"--log-net-log={log}", "--dump-dom")
        assert bool(asked_by_the_page(log)) == (noticed == "request")
        assert ("CONSOLE" in done.stderr) == (noticed == "console")


def test_a_browser_hears_what_the_page_carries(demo_page, tmp_path):
    sources = re.findall(r'src="(data:audio/mpeg;base64,[^"]+)"', demo_page)[:6]
    assert len(sources) == 6
    sound = """<audio preload="auto" src="{}" onloadeddata="this.after('heard ' + this.duration.toFixed(1) + ';')"
        onerror="this.after('failed;')"></audio>"""  # a page is not loaded before its sounds can be played
    harness = tmp_path / "harness.html"
    harness.write_text("<!DOCTYPE html><title>x</title>" + "".join(map(sound.format, sources)), "utf-8")
    done = browse(harness, tmp_path / "room", "--timeout=6000", "--dump-dom")
    heard = re.findall(r"</audio>(failed|heard [\d.]+);", done.stdout)
    assert len(heard) == len(sources)
    assert all(h.startswith("heard") and 2.0 <= float(h.split()[1]) <= 8.6 for h in heard), heard
