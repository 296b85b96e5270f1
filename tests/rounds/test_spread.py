"""Protects judging many rounds at once: processes and a Dask cluster give the same lines in the same order."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import redirect_stdout
from importlib.util import find_spec
from io import StringIO
from pathlib import Path

import pytest

from listen.cli.main import main
from tests.rounds.made import plain

START_S = 60.0
ANSWER_S = 60.0
"""Longest wait for the cluster to start, and for the word that none answers, on a busy machine as well."""

needs_distributed = pytest.mark.skipif(find_spec("distributed") is None, reason="hissway[cluster] is not installed")


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory, leak: Path) -> list[str]:
    """Rounds to be spread, a bad one and a missing one among them."""
    place = tmp_path_factory.mktemp("many")
    folders = [leak, *(plain(place / f"r{i}") for i in range(3)), place / "nowhere"]
    (plain(place / "bad") / "intake-air-1.flac").write_text("no sound")
    return [str(f) for f in (*folders, place / "bad", leak)]


def _lines(capsys: pytest.CaptureFixture[str], *argv: str) -> list[str]:
    assert main(["rank", "--json", *argv]) == 1
    out, err = capsys.readouterr()
    assert err == ""
    return out.splitlines()


@pytest.fixture(scope="module")
def one(many: list[str]) -> list[str]:
    """What one process says of them."""
    with redirect_stdout(StringIO()) as said:
        assert main(["rank", "--json", *many]) == 1
    return said.getvalue().splitlines()


def test_two_processes_give_the_same_lines(many: list[str], one: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """To the last digit, in the order given, errors in their places."""
    assert len(one) == len(many)
    assert _lines(capsys, *many, "--workers", "2") == one


def test_job_folders_are_ranked_by_round(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A job gives one line a recorded round, named after it, like a loose round; here its first two."""
    from listen.lab.shipped import demo_job

    job = demo_job(tmp_path)
    journal = (job / "journal.jsonl").read_bytes().splitlines(keepends=True)
    second = [n for n, line in enumerate(journal) if b'"kind":"judged"' in line][1]
    (job / "journal.jsonl").write_bytes(b"".join(journal[: second + 1]))
    assert main(["rank", "--json", str(job)]) == 0
    told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [line["round"] for line in told] == [f"{job}#c1-2b7f90", f"{job}#c3-c40e17"]
    assert [line["verdict"]["kind"] for line in told] == ["sound", "set-up"]
    assert all(line["schema"] == "hissway.round/1" for line in told)


def test_a_damaged_or_empty_job_is_one_line(
    tmp_path: Path, many: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """The journal cannot be read, or holds no round: a sentence, the next folder goes on."""
    bad = tmp_path / "bad"
    bad.mkdir()
    (bad / "journal.jsonl").write_text("not a journal\n")
    assert main(["rank", str(bad), many[1]]) == 1
    out, err = capsys.readouterr()
    assert out.startswith(many[1])
    assert err.count("\n") == 1
    assert err.startswith("hissway: ")


def test_a_job_damaged_in_the_middle_is_no_success(
    tmp_path: Path, many: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Rounds before the break are judged, the break is an error, the next folder goes on; no drill is made of it."""
    from listen.lab.shipped import demo_job

    job = demo_job(tmp_path)
    journal = job / "journal.jsonl"
    lines = journal.read_bytes().split(b"\n")
    judged = next(n for n, line in enumerate(lines) if b'"kind":"judged"' in line)  # the first round of four is whole
    journal.write_bytes(b"\n".join([*lines[: judged + 1], b"damaged", *lines[judged + 2 :]]))
    assert main(["rank", "--json", str(job), many[1]]) == 1
    told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [line["round"] for line in told if "error" in line] == [str(job)]
    assert "does not hold from event" in told[0]["error"]
    assert told[1]["round"].startswith(f"{job}#") and told[-1]["round"] == many[1]
    assert main(["lab", "from-job", str(job), "-o", str(tmp_path / "drill")]) == 1
    assert "does not hold from event" in capsys.readouterr().err


CLUSTER = """
import os, signal, sys
from distributed.cli.dask_scheduler import main as scheduler
from distributed.cli.dask_worker import main as worker
import listen.rounds.evaluate
here = ["--host", "127.0.0.1", "--scheduler-file", "scheduler.json", "--no-dashboard"]
for main, words in ((scheduler, ["--port", "0"]), *[(worker, ["--nthreads", "1", "--no-nanny"])] * 2):
    if not os.fork():
        sys.exit(main(here + words))
signal.signal(signal.SIGTERM, lambda *_: None)
for _ in range(3):
    os.wait()
"""
"""A scheduler and two workers, processes of their own; what they all load is loaded once, before they part."""


@pytest.fixture(scope="module")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """Address of a scheduler with two workers on the loopback interface."""
    place = tmp_path_factory.mktemp("cluster")
    # Workers are other programs: they know this source tree only if they are told.
    env = os.environ | {"OMP_NUM_THREADS": "1", "PYTHONPATH": str(Path(__file__).resolve().parents[2])}
    log = place / "cluster.log"
    with log.open("wb") as out:
        program = [sys.executable, "-c", CLUSTER]
        started = subprocess.Popen(program, stdout=out, stderr=out, env=env, cwd=place, start_new_session=True)
    try:
        address = _wait_for(log, r"Scheduler at:\s+(tcp://127\.0\.0\.1:\d+)")
        _wait_for(log, r"(?s)(Registered to:.*Registered to:)")
        yield address
    finally:
        os.killpg(started.pid, signal.SIGTERM)
        try:
            started.wait(timeout=5)
        except subprocess.TimeoutExpired:  # a Dask process that lost its peer may retry for half a minute
            os.killpg(started.pid, signal.SIGKILL)
            started.wait()


def _wait_for(log: Path, pattern: str) -> str:
    end = time.monotonic() + START_S
    while time.monotonic() < end:
        if found := re.search(pattern, log.read_text(errors="replace")):
            return found[1]
        time.sleep(0.1)
    raise AssertionError(f"{log.name} never said {pattern}:\n{log.read_text(errors='replace')}")


@needs_distributed
def test_a_cluster_gives_the_same_lines(
    cluster: str, many: list[str], one: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Over a scheduler and two workers: to the last digit, in the order given, errors in their places."""
    assert _lines(capsys, *many, "--cluster", cluster) == one


@needs_distributed
@pytest.mark.parametrize("address", ["tcp://127.0.0.1:{port}", "foo://127.0.0.1:{port}"])
def test_no_scheduler_answers(address: str, many: list[str]) -> None:
    """One sentence, exit code 2, within seconds; in a process of its own, as the Dask client keeps its threads."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = address.format(port=free.getsockname()[1])
    program = "from tui.entry import main; raise SystemExit(main())"
    ran = subprocess.run(
        [sys.executable, "-c", program, "rank", many[0], "--cluster", address],
        capture_output=True,
        text=True,
        timeout=ANSWER_S,
        check=False,
    )
    said = f"hissway: no Dask scheduler answers at {address!r} within 5 s; is it running there?\n"
    assert (ran.returncode, ran.stdout, ran.stderr) == (2, "", said)


@needs_distributed
@pytest.mark.parametrize("address", ["", "here", "tcp://", "tcp://host", "host:port", "tcp://host:8786/x", "a b:1"])
def test_what_is_no_address(address: str, many: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Told at once; an empty one never starts a cluster of its own."""
    assert main(["rank", many[0], "--cluster", address]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err == f"hissway: {address!r} is not the address of a Dask scheduler; give one like tcp://host:8786\n"


def test_without_the_extra(
    many: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The sentence says what to install; exit code 2."""
    for name in ("distributed", "dask", "dask.distributed"):
        monkeypatch.setitem(sys.modules, name, None)
    assert main(["rank", many[0], "--cluster", "tcp://127.0.0.1:8786"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err == "hissway: --cluster needs Dask; install it with: pip install 'hissway[cluster]'\n"
