"""The slips of a round made and mended in a real terminal: real key bytes, real drawing, the journal as the judge."""

from __future__ import annotations

import shlex
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from bay import FOUR_POINTS

from listen.jobs.events import CautionAcknowledged, ReadingEntered, WayChosen
from listen.jobs.folder.store import create_job, open_job
from listen.jobs.walk import walked
from tests.jobs.short import begin_round

HERE = Path(__file__).parent
PROGRAM = """
import sys
sys.path[:0] = [{here!r}, {root!r}]
from itertools import pairwise
from pathlib import Path
from fakes import QUICK, FakeServices
from tui.app import HisswayApp
from tui.bridge.preferences import save
services = FakeServices(Path({place!r}))
save(services.preferences_path(), QUICK)
HisswayApp(services=services).run()
"""
WAITS_S = 40.0
"""Longest for a key to show: a busy machine fails no test."""

pytestmark = [
    pytest.mark.system_packages,
    pytest.mark.skipif(shutil.which("tmux") is None, reason="tmux, which a system package brings, is not here"),
]


class Terminal:
    """A window of 80x24 in a server of the test's own."""

    def __init__(self, place: Path) -> None:
        self.server = ["tmux", "-S", str(place / "server"), "-f", "/dev/null"]
        code = PROGRAM.format(here=str(HERE), root=str(HERE.parents[1]), place=str(place))
        (place / "program.py").write_text(code)
        command = shlex.join([sys.executable, str(place / "program.py")])
        self._tmux("new-session", "-d", "-x", "80", "-y", "24", f"{command}; echo LEFT; sleep 60")
        (self.folder,) = [f.parent for f in (place / "jobs").glob("*/journal.jsonl")]

    def _tmux(self, *args: str) -> str:
        return subprocess.run([*self.server, *args], capture_output=True, text=True, check=True).stdout

    @property
    def text(self) -> str:
        """What is in the window."""
        return self._tmux("capture-pane", "-p")

    def until(self, true: Callable[[], bool], what: str) -> None:
        """Wait for it, within a limit."""
        end = time.monotonic() + WAITS_S
        while not true():
            assert time.monotonic() < end, f"{what} never came:\n{self.text}"
            assert "LEFT" not in self.text, f"the program ended before {what}"
            time.sleep(0.1)

    def shows(self, words: str) -> None:
        self.until(lambda: words in " ".join(self.text.replace("▌", " ").split()), repr(words))

    def press(self, *keys: str) -> None:
        for key in keys:
            self._tmux("send-keys", key)

    def state(self) -> dict[str, Any]:
        """What counts of the job, read from its journal."""
        with open_job(self.folder, write=False) as opened:
            job = opened.job
        record = job.rounds[0]
        due, loss = walked(job, record.id).due, job.reading("loss", 1)
        return {
            "due": (due.id, due.point),
            "clips": [c.id for c in record.live_clips()],
            "left out": ([(s.point, s.walk) for s in record.skips], dict(record.steps_left_out)),
            "loss": loss and loss.si,
            "call": (call := record.call()) and call.paths,
        }

    def slip(self, what: str, make: Callable[[], None], mend: Callable[[], None]) -> None:
        before = self.state()
        make()
        self.until(lambda: self.state() != before, what)
        mend()
        self.until(lambda: self.state() == before, f"{what}, mended,")

    def record(self) -> None:
        """A clip, and the word that it is kept: until then Backspace would stop it."""
        self.press("Space")
        self.shows("Kept: ")

    def to_round(self) -> None:
        self.press("Escape")
        self.shows("r Round")
        self.press("r")
        self.shows("› cylinder 1")

    def _stands_on(self, line: str) -> bool:
        """Whether the highlighted line, which stands in full below the list, is this one and may be taken back."""
        lines = self.text.splitlines()
        return any(line in a and "Bksp takes it back" in b for a, b in pairwise(lines))

    def take_back(self, line: str) -> None:
        """On the cylinder's page."""
        self.press("Escape")
        self.shows("r Round")
        self.press("o")
        self.shows("all of it")
        while not self._stands_on(line):  # a key at a time: on a busy machine those sent ahead would lead past the line
            before = self.text
            self.press("Down")
            self.until(lambda b=before: self.text != b, f"the line after that before {line!r}")
        self.press("BSpace")


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    with create_job(tmp_path / "jobs", title="Baler", engine=FOUR_POINTS) as opened:
        opened.append(WayChosen(way="walks"), ReadingEntered(reading="supply", value=550, unit="kPa", si=550))
        opened.append(CautionAcknowledged(caution="set-up", round_id=begin_round(opened, 1)))
    made = Terminal(tmp_path)
    try:
        yield made
    finally:
        subprocess.run([*made.server, "kill-server"], check=False, capture_output=True)


def test_slips_are_made_and_mended_by_real_keys(terminal: Terminal) -> None:
    terminal.shows("Baler")
    terminal.press("Enter")
    terminal.shows("r Round")
    terminal.press("r")
    terminal.shows("read the loss")

    terminal.slip("a wrong loss", lambda: terminal.press("7", "2", "Enter"), lambda: terminal.take_back("loss 72 %"))
    terminal.to_round()
    terminal.shows("read the loss")
    terminal.press("2", "7", "Enter")
    terminal.shows("Quiet clip at the intake")

    terminal.slip("a point left out", lambda: terminal.press("s", "4"), lambda: terminal.take_back("intake left out"))
    terminal.to_round()
    terminal.shows("Quiet clip at the intake")
    terminal.slip("a clip too early", terminal.record, lambda: terminal.press("BSpace"))
    terminal.shows("Quiet clip at the intake")
    terminal.press("Down")
    terminal.shows("Quiet clip at the tailpipe")
    terminal.slip("the wrong point", terminal.record, lambda: terminal.press("BSpace"))
    for point in ("intake", "tailpipe", "oil filler", "radiator"):
        terminal.shows(f"Quiet clip at the {point}")
        clips = len(terminal.state()["clips"])
        terminal.press("PageDown")  # a presenter's key
        terminal.until(lambda n=clips: len(terminal.state()["clips"]) == n + 1, f"the clip at the {point}")
    terminal.shows("what do you call by ear")
    terminal.slip("a wrong call", lambda: terminal.press("2"), lambda: terminal.take_back("exhaust valve"))
    terminal.press("C-c")  # leaves, as everywhere else; nothing is lost by it
    end = time.monotonic() + WAITS_S
    while "LEFT" not in terminal.text and time.monotonic() < end:
        time.sleep(0.05)
    assert "LEFT" in terminal.text and len(terminal.state()["clips"]) == 4
