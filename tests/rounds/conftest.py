"""One simulated round for the whole folder; tests that change it take a copy."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.rounds.made import simulated


@pytest.fixture(scope="session")
def leak(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A round with a leak past the intake valve; only to be read."""
    return simulated(tmp_path_factory.mktemp("leak") / "round")


@pytest.fixture
def leak_copy(leak: Path, tmp_path: Path) -> Path:
    """The same round, to be changed."""
    return Path(shutil.copytree(leak, tmp_path / "round"))
