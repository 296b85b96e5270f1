"""A lab folder for the tests of the lab."""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture
def lab(tmp_path: Path) -> Path:
    """An empty lab."""
    return tmp_path / "lab"
