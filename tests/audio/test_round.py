"""A whole round through a real stream: one ``hissway record`` a clip, then ``hissway rank`` names the planted leak."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import soundfile

from listen.audio.files import read_clip
from listen.lab.simulator.curves import OCTAVES, curve
from listen.lab.simulator.render import TakeKey, render
from listen.lab.simulator.scene import Background, Cause, Hiss, Part, PointSpec, RoundSpec, TakeSpec, Truth
from listen.signal.clip import Clip
from listen.trade.points import Kind, PathId
from tests.audio.streams import place
from tests.sound_server import SoundServer

HISSWAY = (sys.executable, "-m", "tui")
TAKE_S = 2.0
"""Recorded of each clip; 5 s of it are played, so that a slow start of the command does not matter."""
SLOPE = curve(-1.0 * OCTAVES)
"""Shape of the shop, and of the hiss from 250 Hz up: the excess is alike in every band and can be said before."""
HISS = curve(np.where(OCTAVES < -2.0, -60.0, -1.0 * OCTAVES))
"""A leak has nothing where the shop rumbles; if it had, it would look like another input gain."""
SHOP = Background(
    name="extraction",
    level_dbfs=-45.0,
    parts=(Part(kind="noise", level_db=0.0, curve=SLOPE),),
)
AT = {"intake": 8.0, "tailpipe": -14.0, "oil-filler": -8.0}
"""Hiss at each point, dB about the shop: the intake valve leaks, the rest is cross-talk and blow-by."""


def planted() -> RoundSpec:
    walk = ((Kind.QUIET, 1), (Kind.AIR, 1), (Kind.QUIET, 2))
    takes = tuple(TakeSpec(kind=kind, order=order, seconds=5.0) for kind, order in walk)
    points = [
        PointSpec(point=point, takes=takes, air=(Hiss(source="intake-valve", level_db=level_db, curve=HISS),))
        for point, level_db in AT.items()
    ]
    truth = Truth(causes=(Cause(PathId.INTAKE_VALVE, AT["intake"]),))
    return RoundSpec(name="planted", seed=11, truth=truth, points=tuple(points), background=SHOP)


def record_one(server: SoundServer, key: TakeKey, clip: Clip, scratch: Path, folder: Path) -> None:
    """Play one simulated clip into the microphone and record it by the command; the sound must be the same."""
    wav = scratch / "now.wav"
    soundfile.write(wav, clip.samples, clip.rate_hz, "FLOAT")
    player = server.feed(wav)
    target = folder / f"{key[0]}-{key[1]}-{key[2]}.flac"
    words = ("record", key[0], "--kind", str(key[1]), "--seconds", str(TAKE_S), "--device", "vmic", "-o", str(target))
    done = server.run(*HISSWAY, *words)
    assert done.returncode == 0, done.stderr
    player.kill()
    player.wait()
    taken = read_clip(target)
    start = place(taken.samples, clip.samples)
    assert np.array_equal(taken.samples, clip.samples[start : start + len(taken.samples)])


def test_a_round_is_recorded_and_its_leak_named(sound_server: SoundServer, tmp_path: Path) -> None:
    folder = tmp_path / "round"
    folder.mkdir()
    for key, clip in render(planted()).items():
        record_one(sound_server, key, clip, tmp_path, folder)
    assert len(list(folder.iterdir())) == 3 * len(AT)
    (folder / "round.json").write_text(json.dumps({"loss_percent": 25.0, "supply_kpa": 550, "restrictor_mm": 1.0}))
    ranked = sound_server.run(*HISSWAY, "rank", str(folder), "--json")
    assert ranked.returncode == 0, ranked.stderr
    said = json.loads(ranked.stdout)
    assert (said["verdict"]["kind"], said["verdict"]["paths"]) == ("path", ["intake-valve"])
    heard = {row["point"]: row for row in said["points"]}
    assert abs(heard["intake"]["excess_db"] - 10 * np.log10(1 + 10**0.8)) < 0.3
    assert heard["intake"]["detected"] is True
