"""Protects Windows and macOS users: the program runs where the names that only POSIX has are not there."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

from listen.lab.shipped import demo_job

POSIX_ONLY = (
    "O_CLOEXEC O_DIRECTORY O_NOFOLLOW O_NONBLOCK O_NOCTTY O_SYNC chown fchown fork forkpty getegid geteuid getgid "
    "getgroups getpgid getsid getuid initgroups killpg lchown mkfifo mknod nice openpty posix_fadvise posix_fallocate "
    "pread pwrite sched_getaffinity setsid setuid statvfs sysconf tcgetpgrp uname"
)
"""Functions and flags of ``os`` that Python's manual gives as available on Unix only, and a program might reach for."""

SCRIPT = f"""
import asyncio, builtins, os, signal, sys, types
from pathlib import Path

GONE = {{
    "os": set({POSIX_ONLY!r}.split()),
    "signal": set("SIGKILL SIGHUP SIGUSR1 SIGUSR2 SIGALRM SIGCHLD SIGSTOP SIGCONT pause setitimer".split()),
}}
THERE = {{("os", "name"): "nt", ("sys", "platform"): "win32"}}

class AsOnWindows(types.ModuleType):
    '''A module as our own code would find it on Windows; libraries, which are made for each system, see it whole.

    What differs is taken out of the module, so that nothing else is slower for being looked up.
    '''
    def __getattr__(self, name):
        if name not in TAKEN.get(self.__name__, ()):  # every later module is of this class: Python asks for type(sys)
            raise AttributeError(f"module {{self.__name__!r}} has no attribute {{name!r}}")
        if sys_frame(1).f_globals.get("__name__", "").partition(".")[0] in ("listen", "tui"):
            if name in GONE.get(self.__name__, ()):
                raise AttributeError(f"module {{self.__name__!r}} has no attribute {{name!r}}")
            return THERE[self.__name__, name]
        return TAKEN[self.__name__][name]

sys_frame = sys._getframe
TAKEN = {{}}
for module in (os, signal, sys):
    differ = GONE.get(module.__name__, set()) | {{name for of, name in THERE if of == module.__name__}}
    TAKEN[module.__name__] = {{name: vars(module).pop(name) for name in differ if name in vars(module)}}
    module.__class__ = AsOnWindows
bring = builtins.__import__

def bring_if_there(name, globals=None, *more, **named):
    ours = (globals or {{}}).get("__name__", "").partition(".")[0] in ("listen", "tui")
    if ours and name in ("fcntl", "grp", "pwd", "resource", "termios", "tty", "pty"):
        raise ModuleNotFoundError(name)
    return bring(name, globals, *more, **named)

builtins.__import__ = bring_if_there
"""


def run(then: str, *words: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    root = str(Path(__file__).parents[1])
    script = SCRIPT + f"sys.path.insert(0, {root!r})\n" + then
    return subprocess.run([sys.executable, "-c", script, *words], capture_output=True, text=True, timeout=300, cwd=cwd)


def first_round(tmp_path: Path) -> Path:
    """The demo as it stood when its first round was confirmed: all kinds of things are in it, and little to judge."""
    job = demo_job(tmp_path / "demo")
    lines = (job / "journal.jsonl").read_bytes().splitlines(keepends=True)
    end = next(n for n, line in enumerate(lines) if b'"kind":"confirmed"' in line)
    (job / "journal.jsonl").write_bytes(b"".join(lines[: end + 1]))
    return Path(shutil.move(job, tmp_path / "first"))


def test_the_commands_do_a_whole_job(tmp_path: Path) -> None:
    then = """
from listen.cli.main import main
demo = Path(sys.argv[1])
for words in (["demo", "--plain"], ["rank", str(demo)], ["pack", str(demo), "-o", "job.zip"],
              ["unpack", "job.zip", "--jobs", "jobs"], ["verify", "job.zip"],
              ["report", str(demo), "-o", "report.html"]):
    assert main(words) == 0 or words[0] == "verify", words  # what it finds is for other tests
"""
    done = run(then, str(first_round(tmp_path)), cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "report.html").stat().st_size > 100_000
    assert len(list((tmp_path / "jobs").glob("[!.]*"))) == 1


def test_the_screens_open_on_a_job_and_record(tmp_path: Path) -> None:
    then = """
from tui.bridge.demo import DemoServices
from tui.app import HisswayApp
from tui.terminal import own_screen
with own_screen():
    os.write(2, b"a library complains")

async def look():
    app = HisswayApp(services=DemoServices(Path("jobs")))
    async with app.run_test(size=(100, 30)) as pilot:
        for _ in range(200):
            await pilot.pause(0.05)
            if app.screen.is_mounted and app.is_running:
                break
        print(type(app.screen).__name__)
asyncio.run(look())
"""
    done = run(then, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "Screen" in done.stdout
    assert "a library complains" not in done.stderr


def test_the_names_are_really_gone_for_our_own_code(tmp_path: Path) -> None:
    then = """
import listen.durable
look = dict(__name__="listen.probe", os=os, sys=sys)
assert eval("(os.name, sys.platform, getattr(os, 'O_CLOEXEC', 0))", look) == ("nt", "win32", 0)
for words in ("os.fork", "os.nice", "import fcntl"):
    try:
        exec(words, look)
    except (AttributeError, ModuleNotFoundError):
        continue
    raise SystemExit(f"{words} is there")
assert os.name == "posix"
"""
    done = run(then, cwd=tmp_path)
    assert done.returncode == 0, done.stderr


def test_a_file_that_another_program_reads_is_replaced_once_it_is_let_go(tmp_path: Path) -> None:
    """Windows gives "access is denied" for a rename over an open file; nothing is left behind where it stays so."""
    then = """
import listen.durable as durable
held, real = [1, 2, 3], Path.replace
def replace(self, to):
    if held:
        held.pop()
        raise PermissionError(13, "Access is denied")
    return real(self, to)
Path.replace = replace
with durable.whole_file(Path("job.json")) as file:
    file.write(b"{}")
assert not held and Path("job.json").read_bytes() == b"{}"
held, durable.HELD_OPEN_S = list(range(1000)), 0.1
try:
    with durable.whole_file(Path("job.json")) as file:
        file.write(b"{1}")
except PermissionError:
    assert [p.name for p in Path(".").iterdir()] == ["job.json"] and Path("job.json").read_bytes() == b"{}"
else:
    raise SystemExit("replaced")
"""
    done = run(then, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
