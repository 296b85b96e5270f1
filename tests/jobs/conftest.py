"""Settings for the tests of this room."""

from __future__ import annotations

import pytest


def pytest_configure(config: pytest.Config) -> None:
    """The BagIt library calls re.sub in a way that Python 3.13 will not take for ever; that is for its makers."""
    config.addinivalue_line("filterwarnings", "ignore:'count' is passed as positional:DeprecationWarning:bagit")
