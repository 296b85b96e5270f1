"""The screens with a real PortAudio stream: a whole round from a virtual microphone to the path that leaks."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import soundfile

from tests.sound_server import RATE_HZ, sound_server

__all__ = ["sound_server"]

DRIVER = Path(__file__).with_name("real_round_driver.py")
LONG_S = 240.0


def wav(path: Path, seconds: float, level: float, seed: int, *, hiss: bool) -> Path:
    """Shop noise falling with frequency, or a flat hiss."""
    x = np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ)).astype(np.float32)
    if not hiss:
        x = (x + np.roll(x, 1) + np.roll(x, 2)) / np.float32(1.7)
    soundfile.write(path, x * np.float32(level), RATE_HZ, subtype="FLOAT")
    return path


def test_a_real_round_names_the_leak(sound_server, tmp_path: Path) -> None:
    """Air hisses at the intake only; every clip comes through PortAudio; the analyst is a process of its own."""
    shop = wav(tmp_path / "shop.wav", LONG_S, 0.004, 1, hiss=False)
    sound_server.feed(shop)
    driver = sound_server.start_python(DRIVER, str(tmp_path / "jobs"), first=False)
    clips, verdict, hissing = [], None, None
    for line in driver.stdout:
        what, *rest = json.loads(line)
        if what == "due":
            if hissing is not None:
                hissing.kill()
                hissing = None
            if rest == ["intake", "air"]:
                hissing = sound_server.feed(wav(tmp_path / "hiss.wav", 30.0, 0.006, 2, hiss=True), latency_ms=200)
            driver.stdin.write("go\n")
            driver.stdin.flush()
        elif what == "outcome":
            clips.append(rest)
        else:
            verdict = rest
    assert verdict is not None, driver.stderr.read()[-3000:]
    assert all(kept for kept, _ in clips), clips
    kind, paths, count = verdict
    assert (kind, paths, count) == ("path", ["intake-valve"], 12)
