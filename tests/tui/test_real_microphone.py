"""The screens with a real PortAudio stream: a whole round from a virtual microphone to the path that leaks."""

from __future__ import annotations

import json
import time
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
    driver = sound_server.start_python(DRIVER, str(tmp_path / "jobs"), "walks", first=False)
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


def test_all_at_once_through_a_channel_that_dies(sound_server, tmp_path: Path) -> None:
    """Four channels: the air switched at the intake, the oil filler's microphone dies in mid-take and comes back."""
    rng = np.random.default_rng(4)
    shop = (0.004 * rng.standard_normal((round(LONG_S) * RATE_HZ, 4))).astype(np.float32)
    hiss = (0.008 * rng.standard_normal((9 * RATE_HZ, 4))).astype(np.float32)
    hiss[:, 1:] = 0.0
    t_s = np.arange(len(hiss)) / RATE_HZ
    hiss *= (np.mod(t_s - 1.3, 2.4) < 1.2)[:, None]
    parts = {"others": shop * np.float32([1, 1, 0, 1]), "oil": shop * np.float32([0, 0, 1, 0]), "hiss": hiss}
    for name, samples in parts.items():
        soundfile.write(tmp_path / f"{name}.wav", samples, RATE_HZ, subtype="FLOAT")
    sound_server.feed(tmp_path / "others.wav", device="vmic4")
    oil = sound_server.feed(tmp_path / "oil.wav", device="vmic4", latency_ms=100)
    driver = sound_server.start_python(DRIVER, str(tmp_path / "jobs"), "all-at-once", first=False)
    outcomes, verdict, takes, died, told_s = [], None, 0, 0.0, []
    for line in driver.stdout:
        what, *rest = json.loads(line)
        if what == "recording":
            takes += 1
            if takes == 1:
                sound_server.feed(tmp_path / "hiss.wav", device="vmic4", latency_ms=100)
                time.sleep(2.0)
                oil.kill()
                died = time.monotonic()
        elif what == "told":
            told_s.append((rest[0], time.monotonic() - died))
        elif what == "outcome":
            outcomes.append(rest)
            if takes == 1:
                sound_server.feed(tmp_path / "oil.wav", device="vmic4", latency_ms=100)
                time.sleep(2.0)
        else:
            verdict = rest
    assert verdict is not None, driver.stderr.read()[-3000:]
    assert outcomes[0][0] == ["intake", "radiator", "tailpipe"], outcomes
    assert "Oil filler: channel 3 sends nothing but zeros" in told_s[0][0]
    assert told_s[0][1] < 2.0, told_s  # zeros take 0.75 s to be sure of, a loaded machine the rest
    assert len(outcomes[-1][0]) == 4, outcomes
    assert verdict[0] != "path" or verdict[1] == ["intake-valve"], verdict
    assert verdict[2] == 4
