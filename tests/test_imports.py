"""Nothing heavy is loaded before it is needed, and importing does nothing but import: checked in fresh processes."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SOUND = ("sounddevice", "soundfile", "_soundfile")
HEAVY = ("scipy", "librosa", "numba", "matplotlib", "joblib", "sklearn", "pandas")

LIGHT: dict[str, tuple[str, tuple[str, ...]]] = {
    "hissway --help": (
        "import tui.entry\ntry:\n    tui.entry.main(['--help'])\nexcept SystemExit:\n    pass",
        (*HEAVY, *SOUND, "numpy", "textual", "rich", "msgspec", "jinja2", "asyncio"),
    ),
    "hissway --version": (
        "import tui.entry\ntui.entry.main(['--version'])",
        (*HEAVY, *SOUND, "numpy", "textual", "msgspec"),
    ),
    "hissway rank --help": (
        "import tui.entry\ntry:\n    tui.entry.main(['rank', '--help'])\nexcept SystemExit:\n    pass",
        (*HEAVY, *SOUND, "numpy", "textual"),
    ),
    "judging": ("import listen.rounds.evaluate", ("scipy.signal", "librosa", "numba", "matplotlib", *SOUND, "textual")),
}
ONE_BY_ONE = {
    "jobs": ("listen.jobs.folder.store", "textual"),
    "sound files": ("listen.audio.files", "textual"),
    "the microphone": ("listen.audio.microphone", "textual"),
    "the simulator": ("listen.lab.simulator.simulated_microphone", "textual"),
    "reports": ("listen.report.build", "textual"),
    "pictures": ("listen.signal.picture", "textual"),
    "the screens": ("tui.app", "pandas"),
}
"""Modules that load none of ``HEAVY`` and ``SOUND``, nor what stands beside: one after the other in one process, which
tells as much of each."""

TELL = "\nimport sys\nprint('LOADED', *sorted({m for m in %r if m in sys.modules}))"


def fresh(code: str, **more: str) -> str:
    """Standard output of ``code`` in a new interpreter."""
    here = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1", **more}
    done = subprocess.run(
        [sys.executable, "-c", code], env=here, capture_output=True, text=True, timeout=120, check=False, cwd=ROOT
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.parametrize("what", LIGHT)
def test_nothing_heavy_is_loaded_for(what: str) -> None:
    code, unwanted = LIGHT[what]
    loaded = fresh(code + TELL % (unwanted,)).rpartition("LOADED")[2].split()
    assert loaded == []


@pytest.fixture(scope="module")
def loaded() -> dict[str, list[str]]:
    """What is there after each of ``ONE_BY_ONE``, of all that is unwanted somewhere."""
    of_all = (*HEAVY, *SOUND, "textual")
    code = "".join(f"\nimport {module}{TELL % (of_all,)}" for module, _ in ONE_BY_ONE.values())
    lines = fresh(code).splitlines()
    return {what: line.split()[1:] for what, line in zip(ONE_BY_ONE, lines, strict=True)}


@pytest.mark.parametrize("what", ONE_BY_ONE)
def test_nothing_heavy_is_loaded_by_the_time_of(loaded: dict[str, list[str]], what: str) -> None:
    assert not {*loaded[what]} & {*HEAVY, *SOUND, ONE_BY_ONE[what][1]}


def test_the_check_would_notice() -> None:
    assert "numpy" in fresh("import numpy" + TELL % (("numpy", "scipy"),))


def modules() -> list[str]:
    found = [p.relative_to(ROOT) for top in ("listen", "tui") for p in (ROOT / top).rglob("*.py")]
    names = {".".join(p.with_suffix("").parts) for p in found}
    return sorted(n.removesuffix(".__init__") for n in names if not n.endswith("__main__"))


WATCH = """
import importlib, os, sys
seen = []
def hook(event, args):
    if event == "open" and isinstance(args[0], (str, bytes)):
        if (args[2] or 0) & (os.O_WRONLY | os.O_RDWR | os.O_CREAT) and os.fsdecode(args[0]) != os.devnull:
            seen.append((event, os.fsdecode(args[0])))
    elif event in ("os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.system", "os.fork", "os.posix_spawn"):
        seen.append((event, str(args)[:80]))
    elif event.partition(".")[0] in ("subprocess", "shutil", "tempfile", "webbrowser"):
        seen.append((event, str(args)[:80]))
    elif event in ("socket.connect", "socket.bind", "socket.getaddrinfo"):
        seen.append((event, str(args)[:80]))
sys.addaudithook(hook)
for name in %r:
    before = len(seen)
    importlib.import_module(name)
    seen[before:] = [(name, *s) for s in seen[before:]]
print("SEEN", seen)
"""


def test_importing_any_module_writes_nothing_and_starts_nothing(tmp_path: Path) -> None:
    names = modules()
    assert len(names) > 100
    told = fresh(WATCH % (names,), HOME=str(tmp_path), MPLCONFIGDIR=str(tmp_path))
    assert told.rpartition("SEEN ")[2].strip() == "[]"
    assert list(tmp_path.iterdir()) == []


def test_the_watch_would_notice(tmp_path: Path) -> None:
    (tmp_path / "busy.py").write_text("open('made', 'w').close()\nimport subprocess\nsubprocess.run(['true'])\n")
    code = "import os, sys\nsys.path.insert(0, %r)\nos.chdir(%r)\n" % (str(tmp_path), str(tmp_path))  # noqa: UP031
    told = fresh(code + WATCH % (["busy"],))
    assert "('busy', 'open', 'made')" in told
    assert "subprocess.Popen" in told
