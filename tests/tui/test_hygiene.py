"""Nothing heavy is loaded before the first paint, nothing happens at import, and the screens stay quick."""

from __future__ import annotations

import math
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from tests.patience import TRIES, in_time

HEAVY = ("numpy", "scipy", "librosa", "sounddevice", "soundfile", "matplotlib", "textual_plot", "cryptography")
ROOT = Path(__file__).parents[2]


BEFORE_THE_FIRST_PAINT = ("tui.terminal", "tui.app", "tui.screens.new_job.screen", "tui.screens.engine.screen")


@pytest.fixture(scope="module")
def loaded() -> dict[str, set[str]]:
    """Top-level modules in one fresh interpreter after each of these, one after the other."""
    modules = ("tui.entry", *BEFORE_THE_FIRST_PAINT)
    code = f"import sys\nfor name in {modules}: __import__(name); print(*(m for m in sys.modules if '.' not in m))"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    return {name: set(line.split()) for name, line in zip(modules, out.stdout.splitlines(), strict=True)}


def test_the_entry_loads_nothing_of_the_screens(loaded: dict[str, set[str]]) -> None:
    """``hissway --help`` never pays for Textual."""
    assert "tui" in loaded["tui.entry"] and not loaded["tui.entry"] & {*HEAVY, "textual"}


@pytest.mark.parametrize("module", BEFORE_THE_FIRST_PAINT)
def test_nothing_heavy_before_the_first_paint(loaded: dict[str, set[str]], module: str) -> None:
    assert not loaded[module] & set(HEAVY)


def test_importing_the_app_writes_nothing(tmp_path: Path) -> None:
    """No I/O at import: an empty home stays empty."""
    code = "import tui.app, tui.bridge.demo, tui.screens.round.screen"
    env = {"HOME": str(tmp_path), "PATH": "/usr/bin:/bin", "PYTHONDONTWRITEBYTECODE": "1"}
    subprocess.run([sys.executable, "-c", code], check=True, cwd=ROOT, env=env)
    assert not list(tmp_path.iterdir())


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_first_paint_load_and_quitting_in_a_real_terminal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Wide limits for a busy machine; measure.py prints the figures, and leaves nothing behind."""
    from measure import demo_round, first_paint_s

    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr(tempfile, "tempdir", None)
    in_time(first_paint_s, 3.0)

    def left_s() -> float:
        load, leaving = demo_round(1.5, 1.5, 2.5)
        return leaving if load < 0.40 else math.inf

    in_time(left_s, 1.5)
    assert not list(tmp_path.iterdir())


@pytest.mark.usefixtures("drawn_at_once")
async def test_sound_to_screen() -> None:
    """A step in the signal is on the screen in well under a fifth of a second."""
    from measure import sound_to_screen_s

    for _ in range(TRIES):  # again only where the machine stood still for a moment
        delays, rate = await sound_to_screen_s(8, watch_s=1.0)
        middle_s = sorted(delays)[len(delays) // 2]
        if middle_s < 0.2 and rate > 15:
            break
    assert middle_s < 0.2
    assert rate > 15
