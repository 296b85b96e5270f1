"""How many files one thing passes through, run as a program: a key to the journal, a clip from microphone to verdict.

``python tests/tui/stays.py`` drives the real screens with a made microphone and judges in this process, so that every
call of ours is seen. ``--files`` names them.
"""

from __future__ import annotations

import asyncio
import sys
import tempfile
import threading
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from pathlib import Path
from types import FrameType

HERE = Path(__file__).parent
CHECKOUT = HERE.parents[1]
sys.path[:0] = [str(HERE), str(CHECKOUT)]

import numpy as np  # noqa: E402
from bay import bench, read_cautions, to_round, type_text, until, walk  # noqa: E402
from fakes import RATE_HZ, FakeAnalyst, FakeSource  # noqa: E402

from listen.jobs.events import Payload  # noqa: E402
from listen.rounds.check import check_take  # noqa: E402
from listen.rounds.evaluate import evaluate  # noqa: E402

OURS = tuple(f"{CHECKOUT / room}/" for room in ("listen", "tui"))


class Walked:
    """Calls of our functions by file, while :meth:`counting`."""

    def __init__(self) -> None:
        self.calls: Counter[str] = Counter()
        self._on = False
        sys.setprofile(self._saw)
        threading.setprofile(self._saw)

    def _saw(self, frame: FrameType, event: str, _: object) -> None:
        if not (self._on and event == "call" and frame.f_code.co_filename.startswith(OURS)):
            return
        if threading.current_thread().name.startswith(("MainThread", "journal")):  # the meter's thread walks by itself
            self.calls[frame.f_code.co_filename[len(str(CHECKOUT)) + 1 :]] += 1

    def stop(self) -> None:
        """Count no more."""
        self._on = False

    @contextmanager
    def counting(self) -> Iterator[Counter[str]]:
        """From here to the end of the block."""
        self.calls = Counter()
        self._on = True
        try:
            yield self.calls
        finally:
            self._on = False


class Shop(FakeSource):
    """Noise that is never the same twice: a copy would be refused."""

    _rng = np.random.default_rng(3)
    _noise = property(
        lambda self: (self._rng.standard_normal(RATE_HZ // 10) * 1e-2).astype(np.float32), lambda *_: None
    )


class HereAnalyst(FakeAnalyst):
    """Checks and judges in this process, by the real functions."""

    def check(self, path: Path, at: str, quiet: Path | None = None, on_s: tuple = ()) -> Future:
        return _settled(check_take(path, at, quiet, on_s))

    def evaluate(self, round_) -> Future:
        return _settled(evaluate(round_))


def _settled(value: object) -> Future:
    future: Future = Future()
    future.set_result(value)
    return future


async def stays() -> dict[str, Counter[str]]:
    """Calls by file of each thing that is walked."""
    walked, found = Walked(), {}
    with tempfile.TemporaryDirectory() as folder:
        app = bench(Path(folder), source=Shop(), analyst=HereAnalyst())
        async with app.run_test(size=(80, 24)) as pilot:
            screen = await to_round(pilot)
            await read_cautions(pilot, screen)
            for typed in ("550", "1.0"):
                await type_text(pilot, typed)
            await until(pilot, lambda: screen.step().id == "loss")
            await type_text(pilot, "27")
            await until(pilot, lambda: screen.step().kind == "clip")
            await pilot.press("s")
            with walked.counting() as found["one key (a point left out) to the journal"]:
                write = app.write

                def until_written(*events: Payload) -> None:
                    write(*events)
                    walked.stop()  # what is drawn afterwards is another walk

                app.write = until_written
                events = app.job.events
                await pilot.press("4")
                await until(pilot, lambda: app.job.events > events)
                app.write = write
            await walk(pilot, screen)
            await pilot.press("1")
            await until(pilot, lambda: screen.step().walk == "air")
            await walk(pilot, screen)
            await walk(pilot, screen)
            await until(pilot, lambda: screen.step().kind == "bubbles")
            with walked.counting() as found["the last answer to the verdict, every clip measured and judged"]:
                await pilot.press("n")
                await until(pilot, lambda: screen.record.verdict is not None)
    return found


def main() -> None:
    """Print the counts, and with ``--files`` the files."""
    for what, calls in asyncio.run(stays()).items():
        rooms = Counter(name.rsplit("/", 1)[0] for name in calls)
        print(f"{what}: {len(calls)} files, {sum(calls.values())} calls")
        print("  " + ", ".join(f"{room} {n}" for room, n in sorted(rooms.items())))
        if "--files" in sys.argv:
            print("\n".join(f"  {n:7d}  {name}" for name, n in calls.most_common()))


if __name__ == "__main__":
    main()
