"""Protects ``hissway demo --plain``: the main job on the shipped recordings, played through as text."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

BOUND_S = 120.0
"""Generous: on a quiet machine it takes about three seconds."""


def test_demo_names_the_intake_valve_of_cylinder_5(tmp_path: Path) -> None:
    """In a process of its own, without a terminal, nothing left behind in the temporary folder."""
    program = "from tui.entry import main; raise SystemExit(main(['demo', '--plain']))"
    started = time.monotonic()
    ran = subprocess.run(
        [sys.executable, "-c", program],
        env=os.environ | {"TMPDIR": str(tmp_path), "HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=BOUND_S,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    assert time.monotonic() - started < BOUND_S
    assert "(simulated)" in ran.stdout.splitlines()[0]
    assert "cylinder 5, loss " in ran.stdout.splitlines()[1]
    assert "verdict: Air escapes past the intake valve" in ran.stdout
    assert not list(tmp_path.glob("hissway-demo-*"))
