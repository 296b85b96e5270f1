"""Measures what the screens promise: first paint, meter updates, load of one core, sound to screen, time to quit.

Run it by hand on an idle machine: ``python tests/tui/measure.py``. The tests use the same functions with wide limits.
"""

from __future__ import annotations

import asyncio
import os
import pty
import select
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
ROOT = HERE.parents[1]


@contextmanager
def in_terminal(*args: str, columns: int = 100, lines: int = 30) -> Iterator[tuple[int, int]]:
    """``python -m tui`` in a pseudo terminal, to be quit within: process id and the terminal's other end."""
    with tempfile.TemporaryDirectory(prefix="hissway-measure-") as home:
        pid, end = pty.fork()
        if pid == 0:
            env = os.environ | {
                "TERM": "xterm-256color",
                "COLUMNS": str(columns),
                "LINES": str(lines),
                "HISSWAY_JOBS": f"{home}/jobs",
                "XDG_STATE_HOME": home,
                "XDG_CONFIG_HOME": home,
                "XDG_DATA_HOME": home,
            }
            os.chdir(ROOT)
            os.execve(sys.executable, [sys.executable, "-m", "tui", *args], env)
        yield pid, end
        os.close(end)


def read_until(end: int, wanted: bytes, limit_s: float = 30.0) -> float:
    """Read the terminal until ``wanted`` was drawn; the moment it was."""
    seen, until = b"", time.monotonic() + limit_s
    while time.monotonic() < until:
        if select.select([end], [], [], 0.05)[0]:
            try:
                seen += os.read(end, 65536)
            except OSError:
                break
            if wanted in seen:
                return time.monotonic()
    raise AssertionError(f"{wanted!r} was never drawn; last seen {seen[-400:]!r}")


def drain(end: int, seconds: float) -> int:
    """Let it draw for a while; bytes drawn."""
    drawn, until = 0, time.monotonic() + seconds
    while time.monotonic() < until:
        if select.select([end], [], [], 0.05)[0]:
            drawn += len(os.read(end, 65536))
    return drawn


def cpu_s(pid: int) -> float:
    """Processor time used so far."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def in_queue_s(pid: int) -> float:
    """How long it was ready to go on so far and others had the processor; 0 once it is gone."""
    try:
        return int(Path(f"/proc/{pid}/schedstat").read_text().split()[1]) / 1e9
    except (OSError, IndexError):  # gone, or a system that does not count it
        return 0.0


def quit_and_wait(pid: int, end: int, key: bytes = b"\x11") -> float:
    """Press Ctrl+Q; seconds until the process is gone, but for those in which others had the processor."""
    began = time.monotonic()
    before = queued = in_queue_s(pid)
    os.write(end, key)
    while time.monotonic() - began < 60:
        queued = max(queued, in_queue_s(pid))
        if select.select([end], [], [], 0.01)[0]:
            try:
                os.read(end, 65536)
            except OSError:
                pass
        if os.waitpid(pid, os.WNOHANG)[0]:
            return time.monotonic() - began - (queued - before)
    raise AssertionError("it never ended")


def first_paint_s() -> float:
    """Seconds from starting the process to the first drawn words, but for those in which others had the processor."""
    began = time.monotonic()
    with in_terminal() as (pid, end):
        painted = read_until(end, b"Hissway") - began - in_queue_s(pid)
        read_until(end, b"No jobs here yet")
        quit_and_wait(pid, end)
    return painted


def demo_round(settle_s: float = 4.0, watch_s: float = 6.0, into_the_clip_s: float = 3.0) -> tuple[float, float]:
    """Load of one core on the Round screen of the demo, and seconds to quit in the middle of a clip."""
    with in_terminal("demo") as (pid, end):
        read_until(end, b"simulated")
        drain(end, 1.0)
        for key in (b"\x1b[B", b"\x1b[B", b"r"):
            os.write(end, key)
            drain(end, 0.5)
        drain(end, settle_s)  # the analysing process loads meanwhile
        before, began = cpu_s(pid), time.monotonic()
        drain(end, watch_s)
        load = (cpu_s(pid) - before) / (time.monotonic() - began)
        os.write(end, b" ")
        drain(end, into_the_clip_s)
        leaving = quit_and_wait(pid, end)
    return load, leaving


async def sound_to_screen_s(trials: int = 20, watch_s: float = 2.0) -> tuple[list[float], float]:
    """Delays from a step in the signal to its drawing, and meter readings a second."""
    sys.path.insert(0, str(HERE))
    from bay import bench, to_quiet_walk
    from fakes import FakeSource

    from tui.widgets.level_meter import LevelMeter

    class Stepped(FakeSource):
        gain, stepped = 1.0, 0.0

        def drain(self) -> list[np.ndarray]:
            return [self._noise[:1920, None] * np.float32(self.gain)]

    source, delays = Stepped(), []
    with tempfile.TemporaryDirectory() as folder:
        app = bench(Path(folder), source=source)
        async with app.run_test(size=(100, 30)) as pilot:
            screen = await to_quiet_walk(pilot)
            meter = screen.query_one(LevelMeter)
            drawn: list[tuple[float, float]] = []
            original = meter.draw_line

            def draw_line(y: int, width: int):
                if y == 0 and meter.reading is not None:
                    drawn.append((time.monotonic(), meter.reading.level_dbfs))
                return original(y, width)

            meter.draw_line = draw_line  # type: ignore[method-assign]
            for i in range(trials):
                await asyncio.sleep(0.15 + 0.013 * (i % 4))
                quiet = drawn[-1][1] if drawn else -40.0
                source.gain = 8.0 if source.gain == 1.0 else 1.0
                began = time.monotonic()
                while not any(at > began and abs(level - quiet) > 6 for at, level in drawn[-5:]):
                    await asyncio.sleep(0.002)
                delays.append(next(at for at, level in drawn if at > began and abs(level - quiet) > 6) - began)
            count, began = screen.listener.readings, time.monotonic()
            await asyncio.sleep(watch_s)
            rate = (screen.listener.readings - count) / (time.monotonic() - began)
    return delays, rate


def main() -> None:
    """Print all figures."""
    paints = sorted(first_paint_s() for _ in range(5))
    print(f"first paint        {statistics.median(paints):.2f} s (median of 5, {paints[0]:.2f} to {paints[-1]:.2f})")
    load, leaving = demo_round()
    print(f"round screen       {load:.1%} of one core, live meter running")
    print(f"quit in a clip     {leaving:.2f} s to the end of the process")
    delays, rate = asyncio.run(sound_to_screen_s())
    delays.sort()
    print(f"meter              {rate:.1f} readings a second")
    print(f"sound to screen    {1000 * statistics.median(delays):.0f} ms median, {1000 * delays[-1]:.0f} ms at most")


if __name__ == "__main__":
    main()
