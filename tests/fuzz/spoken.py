"""The fuzzer's doors to the terminal: every command and every screen over a job that holds anything at all."""

from __future__ import annotations

import asyncio
import contextlib
import io
import os
import random
import sys
import unicodedata
from pathlib import Path
from typing import TYPE_CHECKING

from tests.fuzz.mutate import as_json, mutate_journal, read_events, relink

if TYPE_CHECKING:  # the screens take longer to load than most doors need for their cases
    from listen.jobs.bring_in import Found
    from tui.app import HisswayApp

HOSTILE = "\x1b]0;owned\x07\x1b[31m\x9b2J\u202egnp\u200b\x7f"
"""A title for the window, a colour, a cleared screen by one byte, a line turned round, a space unseen, a deletion."""
UNSEEN = {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}
SCREENS = ("r", "o", "p", "c", "d", "s", "j", "P", "b", "a", "f", "question_mark")


def steering(text: str, allowed: str = "") -> list[str]:
    """Characters that a terminal obeys instead of drawing."""
    return [repr(c) for c in text if unicodedata.category(c) in UNSEEN and c not in f"{allowed}\u200d\ufe0f"]


def spoken_journal(rng: random.Random, seeds: list[bytes]) -> bytes:
    """A journal changed in its meaning, with signs for the terminal in one of its words."""
    events = read_events(mutate_journal(rng, seeds[0]))
    event = rng.choice(events)
    payload = event.get("payload")
    words = [k for k, v in payload.items() if isinstance(v, str)] if isinstance(payload, dict) else []
    if words:
        payload[rng.choice(words)] += HOSTILE
    else:
        event["actor"] = HOSTILE
    return relink(events)


def _job(data: bytes, room: Path) -> Path:
    from tests.fuzz.seeds import seed_job

    folder = seed_job(room / f"jobs{HOSTILE}" / "job")
    (folder / "journal.jsonl").write_bytes(data)
    return folder


def say_everything(data: bytes, room: Path) -> None:
    """Three commands over it; what they print steers nothing, and each ends with a code that means something."""
    from listen.cli.main import main

    job = _job(data, room)
    root = str(job.parent)
    every = (
        ["rank", str(job)], ["rank", "--json", str(job)], ["verify", "--no-results", str(job)], ["verify", str(job)],
        ["report", str(job), "-o", str(room / "out.md")], ["pack", str(job), "-o", str(room / "out.zip")],
        ["--jobs", str(room / "other"), "salvage", str(job)],
        ["--jobs", root, "report", "job", "-o", str(room / "o.json")],
    )  # fmt: skip
    rng = random.Random(len(data))
    for words in rng.sample(every, 2):
        out, err = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            try:
                code = main(words)
            except SystemExit as stopped:
                code = int(stopped.code or 0)
        if code not in (0, 1, 2, 3):
            raise AssertionError(f"{words[0]} ended with {code}")
        if found := steering(err.getvalue(), "\r\n") + steering(out.getvalue().replace(str(room), ""), "\n"):
            text = (out.getvalue() + err.getvalue()).replace(str(room), "")
            at = next(i for i, c in enumerate(text) if steering(c, "\r\n"))
            raise AssertionError(f"{words[0]} lets {found[0]} through: {text[max(0, at - 60) : at + 20]!r}")


def show_everything(data: bytes, room: Path) -> None:
    """The screens over it, in the hand of somebody who looks at three of them."""
    _job(data, room)
    asyncio.run(_look(room, random.Random(len(data))))


def _app(room: Path) -> HisswayApp:
    sys.path.insert(0, str(Path(__file__).parents[1] / "tui"))
    from fakes import FakeServices

    from tui.app import HisswayApp

    services = FakeServices(room)
    services.jobs = room / f"jobs{HOSTILE}"
    services.lab_root = lambda: room / "lab"
    return HisswayApp(services=services)


def _look_at(app: HisswayApp) -> None:
    drawn = "".join(s.text for strip in app.screen._compositor.render_strips() for s in strip if not s.control)
    if found := steering(drawn):
        raise AssertionError(f"{type(app.screen).__name__} lets {found[0]} through")


async def _look(room: Path, rng: random.Random) -> None:
    from textual.widgets import OptionList

    from tui.screens.engine.screen import EngineScreen
    from tui.screens.jobs.screen import JobsScreen

    app = _app(room)
    async with app.run_test(size=(80, 24)) as pilot:
        for _ in range(100):
            await asyncio.sleep(0.01)
            if isinstance(app.screen, JobsScreen) and app.screen.query_one("#jobs", OptionList).option_count:
                break
        _look_at(app)
        await pilot.press("enter")
        await pilot.pause()
        for key in rng.sample(SCREENS, 3) if isinstance(app.screen, EngineScreen) else ():
            await pilot.press(key)
            await pilot.pause()
            _look_at(app)
            for _ in range(4):
                if isinstance(app.screen, EngineScreen):
                    break
                await pilot.press("escape")
                await pilot.pause()
    if app.fault:
        raise AssertionError(f"a screen failed: {app.fault}")


def show_names(data: bytes, room: Path) -> None:
    """Names as strangers and systems give them, on the screens that show them: recordings, inputs, learners."""
    from listen.jobs.bring_in import recordings_in

    made = (os.fsdecode(name) + HOSTILE * (n % 2) for n, name in enumerate(names_of(data)))
    names = list(dict.fromkeys(made)) or [HOSTILE]  # inputs bear labels, of which no two are the same
    folder = room / "phone"
    folder.mkdir()
    for name in names:
        if not name.startswith("round.json"):
            (folder / name[-60:].replace("/", "_")).with_suffix(".wav").write_bytes(b"RIFF")
    (folder / "one.wav").write_bytes(b"")
    for name in names[:3]:
        learner = room / "lab" / "learners" / f"l{names.index(name)}-1a2b"
        learner.mkdir(parents=True)
        told = {"id": learner.name, "name": name.encode("utf-8", "replace").decode(), "created": "2026-01-05T09:00:00Z"}
        (learner / "learner.json").write_bytes(as_json(told))
    asyncio.run(_read_out(room, names, recordings_in(folder)))


async def _read_out(room: Path, names: list[str], found: Found) -> None:
    from listen.jobs.walk import Step
    from listen.trade.points import point
    from tui.bridge.services import Input
    from tui.screens.naming.cut import CutScreen
    from tui.screens.naming.screen import NamingScreen

    app = _app(room)
    app.services.inputs = lambda: tuple(Input(name, name) for name in names)
    app.services.source().name = names[0]
    screens = (
        NamingScreen(found, (point("intake"),), Step(id="x", kind="clip", sentence="", point="intake", walk="quiet")),
        CutScreen(found.recordings[0]),
    )
    async with app.run_test(size=(80, 24)) as pilot:
        for screen in screens:
            app.push_screen(screen)
            await pilot.pause()
            _look_at(app)
            await pilot.press("escape")
        for key in ("m", "l", "g", "w"):
            await pilot.press(key)
            await pilot.pause()
            _look_at(app)
            await pilot.press("escape")
            await pilot.pause()
    if app.fault:
        raise AssertionError(f"a screen failed: {app.fault}")


def names_of(data: bytes) -> list[bytes]:
    """File names as a stranger's folder may hold them."""
    safe = (name.replace(b"/", b"_").replace(b"\0", b"_")[:250] for name in data.split(b"|")[:30])
    return [name for name in safe if name not in (b"", b".", b"..")]


def read_phone_folder(data: bytes, room: Path) -> None:
    """A phone's folder of any names: listed in order, named as a round is walked, cut."""
    from listen.jobs.bring_in import cut, in_walking_order, recordings_in

    folder = room / "phone"
    folder.mkdir()
    for name in names_of(data):
        if not name.startswith(b"round.json"):
            Path(os.fsdecode(os.path.join(os.fsencode(folder), name))).write_bytes(b"RIFF")  # noqa: PTH118
    found = recordings_in(folder)
    for recording in in_walking_order(found.recordings, 0, ["intake", "tailpipe"]):
        cut(recording, (0.5, 1.0))


PHONE_NAMES = b"Memo 1.m4a|20260305_100203.wav|New Recording 12.m4a|2026-03-05 10.02.03.mp3|WhatsAp.opus|x.3gp|REC.amr"


def read_salvaged(data: bytes, room: Path) -> None:
    """What a damaged job still holds comes back as a job that verifies."""
    from listen.jobs.exchange.salvage import salvage
    from listen.jobs.exchange.verification import Against
    from listen.jobs.exchange.verify import verify_job

    folder, *_ = salvage(_job(data, room), room / "back")
    found = verify_job(folder, Against(judge=None))
    wrong = [m for m in found.mismatches if m.what in ("journal", "clip")]
    if wrong:
        raise AssertionError(f"a salvaged job does not hold: {wrong[0]}")


def read_register(data: bytes, room: Path) -> None:
    """The register beside the jobs, and who is said to write."""
    from listen.jobs.events import NoteAdded
    from listen.jobs.folder.store import open_job
    from tests.fuzz.seeds import seed_job

    folder = seed_job(room / "jobs" / "job")
    (folder.parent / ".heads").mkdir()
    (folder.parent / ".heads" / "job.json").write_bytes(data)
    (folder / ".writer.json").write_bytes(data)
    with open_job(folder) as opened:
        opened.append(NoteAdded(text="still writable"))


REGISTER = {
    "job": "0123456789abcdef" * 2,
    "last": {"head": "0" * 64, "lines": 12, "time": "2026-01-05T09:00:00.000Z", "bag": ""},
    "bags": [{"head": "1" * 64, "lines": 3, "time": "2026-01-05T09:00:00.000Z", "bag": "x.zip"}],
}


def register_seeds(_: Path) -> list[bytes]:
    return [as_json(REGISTER)]
