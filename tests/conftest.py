"""Linear algebra keeps to one thread here as in every command, so that results agree to the last digit.

Nothing random fails for being slow: a busy machine is no finding. In CI, Hypothesis draws the same cases every time.
Modules are compiled once, not in each of the hundreds of processes that tests start, whatever the machine's habit is.
Files are made in memory where there is plenty: tests make 40,000 and wait for the disk after most lines they write.
"""

import atexit
import gc
import os
import shutil
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("unhurried", deadline=None)  # its parent is the profile of the place: "ci" in CI
settings.load_profile("unhurried")

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")


# librosa compiles functions that nothing here calls when it is first loaded: 18 s of the processor, 12 s unoptimised.
# They are kept apart from those of the bench, whose figures for other programs' ways would suffer.
os.environ.setdefault("NUMBA_OPT", "0")
os.environ.setdefault("NUMBA_CACHE_DIR", str(Path(__file__).parents[1] / ".pytest_cache" / "numba"))

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

MEMORY = Path("/dev/shm")
ROOM_BYTES = 4_000_000_000
"""Four times what all tests make together; a container gives 64 MB, which is no room."""
if "TMPDIR" not in os.environ and MEMORY.is_dir() and shutil.disk_usage(MEMORY).free > ROOM_BYTES:
    os.environ["TMPDIR"] = str(MEMORY)  # what tests start follows
    tempfile.tempdir = None  # asked before this file was read


gc.disable()  # until all is imported, which leaves nothing to collect


KEEP_MEMORY = dict.fromkeys(("MALLOC_MMAP_THRESHOLD_", "MALLOC_TRIM_THRESHOLD_"), "4000000000")
"""What a large array held goes to the next one, not back to the system and into pages of noughts again: a twentieth of
what tests of sound cost (mallopt(3); no other C library reads it)."""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_setupnodes() -> None:
    os.environ.update(KEEP_MEMORY)


def pytest_configure(config: pytest.Config) -> None:
    if hasattr(config, "workerinput"):
        for name in KEEP_MEMORY:  # read when this process began; what tests start lives as it does for users
            os.environ.pop(name, None)
        # One of several processes, whose tests are told of: to take all it holds apart is 2 s of the processor.
        atexit.register(os._exit, 0)
        _begin_elsewhere(config)
    config.addinivalue_line("markers", "system_packages: needs programs or libraries that only a system package brings")


def _begin_elsewhere(config: pytest.Config) -> None:
    """In a fresh clone each process compiles a part of the tests and finds the rest compiled: 4 s of the processor."""
    if config.args == config.getini("testpaths"):
        files = sorted(str(file) for file in Path(__file__).parent.rglob("test_*.py"))
        first = len(files) * int(config.workerinput["workerid"][2:]) // config.workerinput["workercount"]
        config.args = files[first:] + files[:first]


def pytest_collection_finish() -> None:
    """What was imported stays, and screens made by the hundred leave much to collect: looking through it all each time
    was a sixth of the processor time of the tests of screens, each hundred thousand things still a fifteenth."""
    gc.freeze()
    gc.set_threshold(1_000_000, 50, 50)
    gc.enable()


LONGEST = (
    "test_real_microphone.py", "test_real_terminal.py", "test_every_slip.py", "test_soak.py", "test_hygiene.py",
    "test_slow_disk.py", "test_spread.py", "test_fuzz.py", "test_every_screen.py", "test_switched_round.py",
)  # fmt: skip
"""Begun first: whoever begins a test of five seconds or more last, most of them waited, keeps the other processes
waiting at the end."""


def pytest_sessionfinish(session: pytest.Session) -> None:
    """One of several processes has told all it had to tell: pytest would go through what is left of its screens five
    times more, for warnings that nobody reads any more."""
    if hasattr(session.config, "workerinput"):
        gc.freeze()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if "sound_server" in getattr(item, "fixturenames", ()):
            item.add_marker(pytest.mark.system_packages)
    items.sort(key=lambda item: item.path)  # the same in every process, wherever it began
    long, short = ([item for item in items if (item.path.name in LONGEST) is wanted] for wanted in (True, False))
    # Two go to each process to begin with: a long one and a short one, not two long ones to one of them.
    items[:] = (
        [item for pair in zip(long, short, strict=False) for item in pair] + long[len(short) :] + short[len(long) :]
    )
