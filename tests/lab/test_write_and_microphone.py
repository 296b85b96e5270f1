"""A simulated round on disk, and the simulated microphone that plays it."""

from __future__ import annotations

import threading
import time
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import numpy as np
import pytest

from listen.audio.files import read_clip, read_part
from listen.audio.microphone import SoundInput
from listen.errors import AudioError, RoundError
from listen.lab.simulator.draw import draw
from listen.lab.simulator.render import clip_name, render
from listen.lab.simulator.simulated_microphone import SimulatedMicrophone
from listen.lab.simulator.worlds.world import Wishes
from listen.rounds.loose import read_folder
from listen.trade.points import Kind
from tests.lab import scenes
from tests.lab.truths import write_with_truth


def test_a_written_round_is_a_loose_round_with_its_truth(tmp_path: Path) -> None:
    """The bench and other people's scripts read it back with the ordinary reader."""
    spec = draw(np.random.default_rng(8), "report", sound_clips=True, wishes=Wishes(seconds=0.5))
    folder = write_with_truth(spec, tmp_path / "r")
    listed, clips = read_folder(folder), render(spec)
    assert len(listed.takes) == len(clips) > 0
    assert Kind.SOUND in {t.kind for t in listed.takes}
    for key, clip in clips.items():
        back = read_clip(folder / clip_name(key))
        assert np.array_equal(back.samples, clip.samples)
        assert "simulated" in back.device
    assert listed.facts.loss_percent == spec.facts.loss_percent
    assert listed.facts.firing_order == spec.facts.firing_order
    truth = msgspec.json.decode((folder / "truth.json").read_bytes())
    assert truth["simulated"] is True and truth["seed"] == spec.seed and truth["generator"].startswith("hissway-")
    assert truth["paths"] == [str(p) for p in spec.truth.paths]


@pytest.fixture
def microphone() -> SimulatedMicrophone:
    made = SimulatedMicrophone(scenes.one_point(6.0), pace=0, clock=lambda: datetime(2026, 1, 1, tzinfo=UTC))
    made.open()
    return made


def test_a_take_is_the_rendered_clip(microphone: SimulatedMicrophone, tmp_path: Path) -> None:
    """What is kept of a walk with the simulator is what its truth file describes."""
    source: SoundInput = microphone
    microphone.hold_at(("intake",), Kind.AIR)
    (taken,) = source.record([tmp_path / "a.part"], 2.0, threading.Event())
    expected = render(scenes.one_point(6.0))[("intake", Kind.AIR, 1)]
    clip = read_part(taken.part)
    assert np.array_equal(clip.samples, expected.samples)
    assert taken.seconds == 2.0 and not taken.cancelled and clip.taken is not None and clip.taken.year == 2026


def test_a_second_take_is_fresh_and_of_the_asked_length(microphone: SimulatedMicrophone, tmp_path: Path) -> None:
    """Recording again must not give the same samples, or drift and repeats would mean nothing."""
    microphone.hold_at(("intake",), Kind.AIR)
    clips = []
    for n in range(3):
        (taken,) = microphone.record([tmp_path / f"{n}.part"], 1.0, threading.Event())
        clips.append(read_part(taken.part).samples)
    assert {len(c) for c in clips} == {48_000}
    assert not np.array_equal(clips[0], clips[1]) and not np.array_equal(clips[1], clips[2])


def test_a_point_the_round_does_not_name_hears_the_shop_only(microphone: SimulatedMicrophone, tmp_path: Path) -> None:
    """The demo's engine may be walked at points its story left out."""
    levels = {}
    for kind in (Kind.QUIET, Kind.AIR):
        microphone.hold_at(("tailpipe",), kind)
        (taken,) = microphone.record([tmp_path / f"{kind}.part"], 1.0, threading.Event())
        levels[kind] = float(np.std(read_part(taken.part).samples))
    assert levels[Kind.AIR] == pytest.approx(levels[Kind.QUIET], rel=0.3)
    with pytest.raises(RoundError):
        microphone.hold_at(("bonnet",), Kind.AIR)


def test_cancelling_keeps_what_arrived(tmp_path: Path) -> None:
    """One key back in the middle of a clip."""
    microphone = SimulatedMicrophone(scenes.one_point(6.0), pace=1.0)
    microphone.open()
    cancel = threading.Event()
    part = tmp_path / "c.part"

    def cancel_soon() -> None:
        while not part.exists() or part.stat().st_size < 20_000:  # a tenth of a second and more
            time.sleep(0.01)
        cancel.set()

    threading.Thread(target=cancel_soon, daemon=True).start()
    (taken,) = microphone.record([part], 20.0, cancel)
    assert taken.cancelled and 0.1 < taken.seconds < 15.0
    assert read_part(taken.part).seconds == pytest.approx(taken.seconds)


def test_the_meter_hears_where_the_microphone_is_held() -> None:
    """The live level must follow aim between takes, louder with the air on."""
    microphone = SimulatedMicrophone(scenes.one_point(20.0), pace=50)
    microphone.open()
    loud = {}
    for kind in (Kind.QUIET, Kind.AIR):
        microphone.hold_at(("intake",), kind)
        microphone.drain()
        time.sleep(0.05)
        blocks = np.concatenate(microphone.drain())
        loud[kind] = float(np.std(np.diff(blocks[:, 0])))
    assert loud[Kind.AIR] > 2 * loud[Kind.QUIET]
    microphone.close()
    assert microphone.drain() == []


def test_a_closed_microphone_refuses_in_words(tmp_path: Path) -> None:
    """As a real one would."""
    with pytest.raises(AudioError, match="not open"):
        SimulatedMicrophone(scenes.one_point(6.0)).record([tmp_path / "x.part"], 1.0, threading.Event())


def test_a_closed_microphone_holds_no_sound_and_can_be_opened_again(tmp_path: Path) -> None:
    """A screen that was left keeps its microphone until Python looks for circles: 14 MB a round piled up."""
    microphone = SimulatedMicrophone(scenes.one_point(6.0), pace=0)
    for n in range(2):
        microphone.open()
        (taken,) = microphone.record([tmp_path / f"{n}.part"], 0.5, threading.Event())
        microphone.close()
        assert not microphone._clips
        assert read_part(taken.part).seconds == 0.5
