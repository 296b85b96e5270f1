"""Without the PortAudio library everything but recording and playing works, and one sentence names its package."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

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


def test_everything_imports_and_files_are_read(tmp_path: Path) -> None:
    script = HIDE + (
        "import sys; from pathlib import Path\n"
        "import listen.audio.microphone, listen.audio.player, listen.audio.devices, listen.audio.partial\n"
        "from listen.audio.files import read_clip; from listen.audio.write import write_flac\n"
        "from listen.signal.clip import Clip\n"
        "path = Path(sys.argv[1]); write_flac(path, Clip.of([0.5, -0.5], 48000))\n"
        "assert read_clip(path).samples.tolist() == [0.5, -0.5]\n"
        "assert 'sounddevice' not in sys.modules\n"
    )
    subprocess.run([sys.executable, "-c", script, str(tmp_path / "a.flac")], check=True, timeout=60)


def test_nothing_heavy_is_imported_before_it_is_needed() -> None:
    script = (
        "import sys, listen.audio.microphone, listen.audio.player, listen.audio.files, listen.cli.record\n"
        "import listen.cli.mic\n"
        "heavy = {'sounddevice', 'soundfile', 'scipy', 'librosa', 'matplotlib'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True, timeout=60)


def test_the_commands_import_no_numpy_until_run() -> None:
    script = "import sys, listen.cli.record, listen.cli.mic; assert 'numpy' not in sys.modules"
    subprocess.run([sys.executable, "-c", script], check=True, timeout=60)
