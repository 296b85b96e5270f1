"""One simulated round for the whole folder; tests that change it take a copy."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from tests.rounds.made import facts, simulated


@pytest.fixture(scope="session")
def leak(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A round with a leak past the intake valve, by a third of the air; only to be read."""
    return facts(simulated(tmp_path_factory.mktemp("leak") / "round"), loss_percent=35, restrictor_mm=1.0)


@pytest.fixture
def leak_copy(leak: Path, tmp_path: Path) -> Path:
    """The same round, to be changed."""
    return Path(shutil.copytree(leak, tmp_path / "round"))
