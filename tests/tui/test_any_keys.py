"""Random keys on random jobs: no silent exit, no lost clip, no step out of reach, and the screen says what is written.

A quick share; ``python -m tests keys`` presses them by the thousand.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.keys import walker


@pytest.mark.usefixtures("drawn_at_once")
@pytest.mark.parametrize("seed", [2, 3])
async def test_any_keys_lose_nothing(tmp_path: Path, seed: int) -> None:
    gone = await walker.walk(tmp_path, seed, 100)
    assert len(gone.pressed) >= 100 and len(gone.screens) > 2
