"""Words of strangers (titles, names, notes, devices, paths): nothing in them steers the terminal, at any door."""

from __future__ import annotations

import json
import os
import pty
import select
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from bay import settle, until
from fakes import FakeServices

from listen.voice.text import json_line, plain
from tests.fuzz.mutate import read_events, relink
from tests.fuzz.seeds import seed_job
from tests.fuzz.spoken import HOSTILE, steering
from tui.app import HisswayApp
from tui.screens.engine.screen import EngineScreen

WORDS = {
    "title", "shop", "name", "text", "reason", "statement", "device", "source", "complaint", "imported_from", "folder",
    "files", "left_out", "actor", "details", "part", "why", "description", "moved_to", "said",
}  # fmt: skip
"""Fields that hold somebody's words."""


def spoilt(value: Any, key: str = "") -> Any:
    """Every word of every event with the hostile characters in it."""
    if isinstance(value, dict):
        return {k: spoilt(v, key if key in WORDS else k) for k, v in value.items()}
    if isinstance(value, list):
        return [spoilt(v, key) for v in value]
    return f"{value[:3]}{HOSTILE}{value[3:]}" if isinstance(value, str) and key in WORDS else value


def hostile_job(folder: Path) -> Path:
    seed_job(folder)
    journal = folder / "journal.jsonl"
    events = read_events(journal.read_bytes())
    for event in events:
        event["payload"], event["actor"] = spoilt(event["payload"]), f"an{HOSTILE}"
    journal.write_bytes(relink(events))
    return folder


def hostile_round(folder: Path) -> Path:
    folder.mkdir()
    (folder / f"intake{HOSTILE}-air.flac").write_bytes(b"no sound")
    (folder / "round.json").write_text(json.dumps({f"loss{HOSTILE}": 3}))
    return folder


COMMANDS = """
import sys
from listen.cli.main import main
from tests.tui.test_nothing_steers import HOSTILE
place, job, folder = sys.argv[1:]
for words in (
    ["rank", folder, job, f"{folder}-nowhere"], ["rank", "--json", folder, job], ["verify", job],
    ["verify", "--json", job], ["report", job, "-o", f"{place}/out.md"], ["pack", job, "-o", f"{place}/out.zip"],
    ["--jobs", f"{place}/other", "unpack", f"{place}/out.zip"], ["--jobs", f"{place}/third", "salvage", job],
    ["--jobs", f"{place}/other", "report", HOSTILE], ["rank", "--workers", HOSTILE, folder], ["unpack", folder],
    ["lab", "list"], ["key", "--list"],
):
    print("$", words[0], flush=True)
    try:
        main(words)
    except SystemExit:
        pass
print(f"a door that forgets: {HOSTILE}")
print("$ over")
"""


@pytest.mark.skipif(os.name == "nt", reason="a pseudo terminal is POSIX")
def test_no_command_lets_a_strangers_words_steer_the_terminal(tmp_path: Path) -> None:
    (tmp_path / f"jobs{HOSTILE}").mkdir()
    job = hostile_job(tmp_path / f"jobs{HOSTILE}" / "job")
    folder = hostile_round(tmp_path / f"round{HOSTILE}")
    ours, theirs = pty.openpty()
    env = os.environ | {"HOME": str(tmp_path), "XDG_DATA_HOME": str(tmp_path), "PYTHONPATH": ":".join(sys.path)}
    command = [sys.executable, "-c", COMMANDS, str(tmp_path), str(job), str(folder)]
    run = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, env=env)
    os.close(theirs)
    said = b""
    while select.select([ours], [], [], 60)[0]:
        try:
            said += os.read(ours, 65536)
        except OSError:  # the other end is closed
            break
    run.wait()
    os.close(ours)
    text = said.decode()
    assert "$ over" in text and "Traceback" not in text and run.returncode == 0
    assert text.count("owned") > 10, "the words themselves must have come so far"
    assert steering(text, allowed="\r\n") == []


def test_json_holds_the_same_value_and_steers_nothing() -> None:
    value = {"round": f"a{HOSTILE}\U000e0041b", "list": [1, "ü☂🫧"]}
    line = json_line(value)
    assert json.loads(line) == value
    assert steering(line) == [] and "ü☂🫧" in line


KEYS = ("r", "o", "p", "c", "d", "s", "j", "P", "b", "a", "f", "question_mark", "i")


async def test_no_screen_lets_a_strangers_words_steer_the_terminal(tmp_path: Path) -> None:
    hostile_job(tmp_path / "jobs" / "job")
    app = HisswayApp(services=FakeServices(tmp_path))
    drawn: list[str] = []

    def look() -> None:
        drawn.extend(s.text for strip in app.screen._compositor.render_strips() for s in strip if not s.control)

    async with app.run_test(size=(100, 30)) as pilot:
        await until(pilot, lambda: app.screen.query_one("#jobs").display)
        look()
        await pilot.press("enter")
        await until(pilot, lambda: isinstance(app.screen, EngineScreen))
        app.screen.tell(HOSTILE)
        app.notify(HOSTILE, markup=False)  # a door that forgets to make it plain
        for key in KEYS:
            await pilot.press(key)
            await settle(pilot)
            look()
            while not isinstance(app.screen, EngineScreen):
                await pilot.press("escape")
                await settle(pilot)
    assert "owned" in "".join(drawn)
    assert steering("".join(drawn)) == []


def test_the_look_itself_sees_what_steers() -> None:
    assert len(steering(HOSTILE)) == 7 and steering(plain(HOSTILE)) == [] and steering("ü 🫧 ▯") == []
