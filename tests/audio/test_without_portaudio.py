"""Without the PortAudio library everything but recording and playing works, and one sentence names its package."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

HIDE = "import ctypes.util; ctypes.util.find_library = lambda name: None\n"
"""As on a machine without libportaudio: the wheel for Linux brings none, and the loader finds none."""

COMMAND = HIDE + "import sys; from listen.cli.main import main; sys.exit(main(sys.argv[1:]))"


def hissway(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-c", COMMAND, *words], capture_output=True, text=True, timeout=60)


def test_recording_names_the_package(tmp_path: Path) -> None:
    for words in (("mic",), ("record", "intake", "--kind", "air", "-o", str(tmp_path / "intake-air.flac"))):
        done = hissway(*words)
        assert done.returncode == 1
        assert "libportaudio2" in done.stderr
        assert done.stderr.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


NO_START = (
    "class PortAudioError(Exception): pass\nraise PortAudioError('Error initializing PortAudio: no host', -9999)\n"
)
"""As sounddevice does where the library is there and does not start, beside a broken sound server."""


def test_a_sound_system_that_does_not_start_is_one_sentence(tmp_path: Path) -> None:
    (tmp_path / "sounddevice.py").write_text(NO_START)
    script = f"import sys; sys.path.insert(0, {str(tmp_path)!r}); " + COMMAND.removeprefix(HIDE)
    for words in (("mic",), ("record", "intake", "--kind", "air", "-o", str(tmp_path / "intake-air.flac"))):
        done = subprocess.run([sys.executable, "-c", script, *words], capture_output=True, text=True, timeout=60)
        assert done.returncode == 1
        assert "cannot be started" in done.stderr and "Error initializing PortAudio: no host" in done.stderr
        assert done.stderr.count("\n") == 1


@pytest.mark.parametrize(
    ("library", "words"),
    [
        ("nothing.so", "cannot be used (cannot load library"),
        ("libm.so.6", "cannot be used (symbol 'Pa_Initialize' not found"),
    ],
)
@pytest.mark.skipif(sys.platform != "linux", reason="names a library of Linux")
def test_a_library_that_is_broken_or_another_is_one_sentence(tmp_path: Path, library: str, words: str) -> None:
    """Half an update, a file cut short, another library under the name: it is there, so nobody is told to get it."""
    (tmp_path / "nothing.so").write_bytes(b"\x7fELF")
    path = str(tmp_path / library) if library == "nothing.so" else library
    script = f"import ctypes.util; ctypes.util.find_library = lambda name: {path!r}\n" + COMMAND.removeprefix(HIDE)
    for command in (("mic",), ("record", "intake", "--kind", "air", "-o", str(tmp_path / "intake-air.flac"))):
        done = subprocess.run([sys.executable, "-c", script, *command], capture_output=True, text=True, timeout=60)
        assert done.returncode == 1
        assert words in done.stderr and "not installed" not in done.stderr
        assert done.stderr.count("\n") == 1


ANSWERS = """
#include <unistd.h>
const char *Pa_GetErrorText(int e) { return "no card"; }
const char *Pa_GetVersionText(void) { return "invented"; }
int Pa_GetVersion(void) { return 1; }
int Pa_Terminate(void) { return 0; }
int Pa_Initialize(void) { while (HANGS) usleep(10000); return 0; }
int Pa_GetDeviceCount(void) { return -9986; }
"""


@pytest.mark.parametrize(
    ("hangs", "words"), [(1, "does not answer (starting)"), (0, "cannot list its devices (no card)")]
)
@pytest.mark.skipif(sys.platform != "linux" or not shutil.which("cc"), reason="no C compiler to build a library with")
def test_a_library_that_hangs_or_refuses_is_one_sentence_and_leaving_ends_well(
    tmp_path: Path, hangs: int, words: str
) -> None:
    """A call that hung went on in a library that Python unloaded as it ended: the process died by a signal."""
    (tmp_path / "it.c").write_text(ANSWERS)
    built = str(tmp_path / "libportaudio.so.2")
    subprocess.run(["cc", "-shared", "-fPIC", f"-DHANGS={hangs}", "-o", built, tmp_path / "it.c"], check=True)
    script = (
        f"import ctypes.util; ctypes.util.find_library = lambda name: {built!r}\n"
        "import listen.audio.library; listen.audio.library.START_S = 2.0\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script + COMMAND.removeprefix(HIDE), "mic"], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 1
    assert words in done.stderr and done.stderr.count("\n") == 1


def test_everything_imports_and_files_are_read(tmp_path: Path) -> None:
    script = HIDE + (
        "import sys; from pathlib import Path\n"
        "import listen.audio.microphone, listen.audio.player, listen.audio.devices, listen.audio.write\n"
        "from listen.audio.files import read_clip; from listen.audio.write import write_clip\n"
        "from listen.signal.clip import Clip\n"
        "path = Path(sys.argv[1]); write_clip(path, Clip.of([0.5, -0.5], 48000))\n"
        "assert read_clip(path).samples.tolist() == [0.5, -0.5]\n"
        "assert 'sounddevice' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", script, str(tmp_path / "a.flac")], check=True, timeout=60)


def test_nothing_heavy_is_imported_before_it_is_needed() -> None:
    script = (
        "import sys, listen.audio.microphone, listen.audio.player, listen.audio.files\n"
        "heavy = {'sounddevice', 'soundfile', 'scipy', 'librosa', 'matplotlib'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True, timeout=60)


@pytest.mark.parametrize("line", ["record --help", "record intake", "mic --help", "mic --devcie 2"])
def test_no_command_is_loaded_to_say_or_to_refuse_what_may_be_typed(line: str) -> None:
    script = (
        "import sys\nfrom listen.cli.main import main\ntry:\n    main(sys.argv[1:])\nexcept SystemExit:\n    pass\n"
        "assert not {'numpy', 'listen.cli.record', 'listen.cli.mic'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", script, *line.split()], check=True, timeout=60, capture_output=True)
