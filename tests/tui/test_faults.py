"""What breaks is one sentence, on the terminal one looks at, and never keeps a job shut."""

from __future__ import annotations

import asyncio
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import Future
from pathlib import Path

import pytest
from bay import banner, bench, screen_text, settle, settled, to_quiet_walk, until, walk

from listen.jobs.folder.store import open_job
from tui.bridge.services import AnalysisFailed, Services

ROOT = Path(__file__).parents[2]
FAULTY = """
import sys
from tui.screens.jobs.screen import JobsScreen
def broken(self):
    raise ZeroDivisionError("made by a test")
JobsScreen._begin = broken
from tui.entry import main
sys.exit(main(sys.argv[1:]))
"""


def in_a_terminal(code: str, *argv: str, home: Path, **more: str) -> tuple[int, str]:
    """Exit code and all that a terminal of 80x24 was sent."""
    pty = pytest.importorskip("pty")
    child, terminal = pty.fork()
    if child == 0:
        env = {**os.environ, "HOME": str(home), "XDG_STATE_HOME": str(home), "TERM": "xterm-256color", **more}
        os.chdir(ROOT)
        os.execvpe(sys.executable, [sys.executable, "-c", code, *argv], env)
    sent, end = b"", time.monotonic() + 60
    while time.monotonic() < end:
        try:
            block = os.read(terminal, 65536)
        except OSError:  # the child has gone
            break
        if not block:
            break
        sent += block
    else:
        os.kill(child, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), sent.decode("utf-8", "replace")


def test_a_fault_says_its_sentence_on_the_terminal_and_the_log_is_kept(tmp_path: Path) -> None:
    """After the screen was given back; a second start does not wipe what the first one wrote."""
    for started in (1, 2):
        code, sent = in_a_terminal(FAULTY, "--jobs", str(tmp_path / "jobs"), home=tmp_path)
        last = " ".join(sent.rpartition("\x1b[?1049l")[2].split())
        assert code == 1 and "something failed inside (ZeroDivisionError: made by a test)" in last, last
        assert "Traceback" not in last and "screens.log" in last
        (log,) = tmp_path.rglob("screens.log")
        assert log.read_text().count("ZeroDivisionError: made by a test") == started


def test_a_place_for_jobs_that_cannot_be_made_is_one_sentence_for_the_demo_too(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    code, sent = in_a_terminal(
        "import sys; from tui.entry import main; sys.exit(main(sys.argv[1:]))",
        "--jobs",
        str(tmp_path / "file" / "jobs"),
        "demo",
        home=tmp_path,
    )
    assert code != 0 and "Traceback" not in sent and str(tmp_path / "file") in "".join(sent.split())


async def test_a_quiet_clip_whose_file_is_gone_keeps_no_job_shut(tmp_path: Path) -> None:
    """The air walk begins, says what is missing, and the clip can be taken back and recorded again."""
    app = bench(tmp_path)
    async with app.run_test(size=(100, 30)) as pilot:
        screen = await to_quiet_walk(pilot)
        await walk(pilot, screen)
        assert app.open_job is not None
        lost = screen.record.live_clips("intake", "quiet")[0]
        app.open_job.clip_path(lost.id).unlink()
        await pilot.press("d")
        await until(pilot, lambda: screen.step().walk == "air")
        await settle(pilot)
        assert app.is_running and screen.step().point == "intake"
        await pilot.press("space")
        await until(pilot, lambda: settled(screen))
        assert app.is_running and screen.record.live_clips("intake", "air")
    with open_job(next((tmp_path / "jobs").glob("[!.]*"))) as again:
        assert again.job.rounds[0].live_clips("intake", "air")


async def test_an_analysis_that_dies_is_a_sentence_and_another_process_is_made() -> None:
    class Dying:
        closed = 0

        def evaluate(self, round_: object) -> Future:
            future: Future = Future()
            future.set_exception(RuntimeError("gone"))
            return future

        def close(self) -> None:
            Dying.closed += 1

    services = Services()
    services._analyst = Dying()  # type: ignore[assignment]
    with pytest.raises(AnalysisFailed, match="the analysis failed \\(RuntimeError\\); nothing is lost"):
        await services.evaluate(None)  # type: ignore[arg-type]
    assert Dying.closed == 1 and services._analyst is None


@pytest.mark.skipif(sys.platform == "win32", reason="signals of Unix")
def test_the_analyst_ends_with_a_parent_that_is_killed(tmp_path: Path) -> None:
    code = (
        "import time\n"
        "from listen.rounds.analyst import Analyst\n"
        "if __name__ == '__main__':\n"
        "    a = Analyst()\n"
        "    a._pool.submit(int).result()\n"
        "    print(*(p.pid for p in a._pool._processes.values()), flush=True)\n"
        "    time.sleep(60)\n"
    )
    script = tmp_path / "parent.py"
    script.write_text(code)
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    parent = subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True, env=env)
    assert parent.stdout is not None
    child = int(parent.stdout.readline())
    parent.kill()
    parent.wait()
    end = time.monotonic() + 20
    while time.monotonic() < end and _lives(child):
        time.sleep(0.05)
    assert not _lives(child)


def _lives(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{pid}/stat")
    return not (state.exists() and state.read_text().rpartition(")")[2].split()[0] == "Z")


async def test_evidence_opens_without_colour(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Plots come without a style, which the filter for NO_COLOR did not expect."""
    monkeypatch.setenv("NO_COLOR", "1")
    app = bench(tmp_path)
    async with app.run_test(size=(100, 30)) as pilot:
        screen = await to_quiet_walk(pilot)
        await walk(pilot, screen)
        await pilot.press("d")
        await until(pilot, lambda: screen.step().walk == "air")
        await pilot.press("e")
        await until(pilot, lambda: "kHz" in screen_text(app))
        await asyncio.sleep(0.2)
        assert app.is_running and not app.fault and "Again" not in banner(screen)
