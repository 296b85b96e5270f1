"""What the real-stream tests share: a talked-to recorder, known noise, and finding a take inside it."""

from __future__ import annotations

import json
import time
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from tests.sound_server import RATE_HZ, SoundServer

DRIVER = Path(__file__).with_name("record_driver.py")


class Recorder:
    """The driver process; :meth:`tell` gives an order and :meth:`answer` waits for what came of it."""

    def __init__(self, server: SoundServer, device: str = "vmic", speaker: str = "vspk", *, first: bool = True) -> None:
        self.process = server.start_python(DRIVER, device, speaker, first=first)

    def tell(self, *words: object) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(" ".join(map(str, words)) + "\n")
        self.process.stdin.flush()

    def answer(self) -> dict[str, Any]:
        assert self.process.stdout is not None and self.process.stderr is not None
        line = self.process.stdout.readline()
        assert line, f"the recorder died: {self.process.stderr.read()}"
        found = json.loads(line)
        assert isinstance(found, dict)
        return found

    def ask(self, *words: object) -> dict[str, Any]:
        self.tell(*words)
        return self.answer()

    def leave(self, limit_s: float = 10) -> int:
        """Close its stdin and wait for it to end."""
        assert self.process.stdin is not None
        self.process.stdin.close()
        return self.process.wait(limit_s)


def known_noise(path: Path, seconds: float, seed: int = 1) -> np.ndarray:
    """White noise of 24-bit values, written as a float WAV and returned [shape=(n,)]; no sample is zero."""
    rng = np.random.default_rng(seed)
    steps = rng.integers(1, 2**21, round(seconds * RATE_HZ)) * rng.choice((-1, 1), round(seconds * RATE_HZ))
    samples = (steps / 2**23).astype(np.float32)
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")
    return samples


def place(take: np.ndarray, source: np.ndarray) -> int:
    """Where in ``source`` the take begins, by its first 32 samples; -1 where it does not."""
    for start in np.flatnonzero(source == take[0]):
        if np.array_equal(source[start : start + 32], take[:32]):
            return int(start)
    return -1


def told_gap_s(answer: dict[str, Any]) -> float | None:
    """Longest gap that a take tells of; None where it was given up, in words, because sound is missing.

    What a short absence comes to is the server's doing: zeros in its place, or, on a busy machine, sound that is lost.
    """
    if "error" in answer:
        assert any(w in answer["error"] for w in ("of sound are missing", "has sent nothing", "exact zeros")), answer
        return None
    assert answer["gaps"], "bridged in silence"
    return float(max(length for _, length in answer["gaps"]))


def wait_until(path: Path, bytes_at_least: int, limit_s: float = 10) -> None:
    """Wait for a part file to have grown."""
    give_up = time.monotonic() + limit_s
    while not path.exists() or path.stat().st_size < bytes_at_least:
        assert time.monotonic() < give_up, f"{path.name} does not grow"
        time.sleep(0.01)
