"""A small file cannot make us take much memory, whatever its header says."""

from __future__ import annotations

import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

SCRIPT = """
import sys
from pathlib import Path
import numpy, soundfile
from listen.audio.files import read_clip
from listen.errors import ClipError
def peak_kb():  # not ru_maxrss: Linux counts the peak of the process that started this one into it
    lines = Path("/proc/self/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM"))
before = peak_kb()
try:
    read_clip(Path(sys.argv[1]))
except ClipError as error:
    print("refused", file=sys.stderr)
print((peak_kb() - before) // 1024)
"""


def grown_mb(path: Path) -> int:
    done = subprocess.run([sys.executable, "-c", SCRIPT, str(path)], capture_output=True, text=True, check=True)
    return int(done.stdout)


def big_claim_wav(path: Path) -> None:
    head = struct.pack("<4sI4s4sIHHIIHH", b"RIFF", 0xFFFFFFF0, b"WAVE", b"fmt ", 16, 1, 1, 48000, 96000, 2, 16)
    path.write_bytes(head + struct.pack("<4sI", b"data", 0xFFFFFFC0) + bytes(1000))


def many_channels(path: Path) -> None:
    soundfile.write(path, np.zeros((4000, 1000), np.int16), 48_000, format="WAV")


def long_silence(path: Path) -> None:
    with soundfile.SoundFile(path, "w", 8_000, 1, format="FLAC") as file:
        for _ in range(3600):
            file.write(np.zeros(8_000, np.int16))


def ten_minutes(path: Path) -> None:
    with soundfile.SoundFile(path, "w", 48_000, 1, format="FLAC") as file:
        for _ in range(600):
            file.write(np.zeros(48_000, np.int16))


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="peak memory is read from /proc, as Linux has it")
@pytest.mark.parametrize(
    ("make", "limit_mb"), [(big_claim_wav, 5), (many_channels, 60), (long_silence, 5), (ten_minutes, 260)]
)
def test_memory_stays_small(tmp_path: Path, make, limit_mb: int) -> None:  # type: ignore[no-untyped-def]
    make(tmp_path / "a.wav")
    assert (tmp_path / "a.wav").stat().st_size < 10_000_000
    assert grown_mb(tmp_path / "a.wav") < limit_mb
