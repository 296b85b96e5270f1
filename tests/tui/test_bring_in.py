"""Clips recorded elsewhere come into the walks they belong to, and what cannot be taken is told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from listen.audio.files import read_clip
from listen.audio.write import write_clip
from listen.errors import RoundError
from listen.jobs.bring_in import Recording, bring_in, recordings_in
from listen.jobs.folder.store import create_job
from listen.signal.clip import Clip
from listen.trade.engine import layout
from tests.jobs.short import begin_round


def noise(seed: int) -> Clip:
    return Clip.of(np.random.default_rng(seed).standard_normal(48_000) * 0.01, 48_000)


def test_walks_follow_from_the_order_of_the_takes(tmp_path: Path) -> None:
    folder = tmp_path / "phone"
    folder.mkdir()
    for i, name in enumerate(["intake-quiet-1", "intake-air-1", "intake-quiet-2", "tailpipe-quiet-1"]):
        write_clip(folder / f"{name}.flac", noise(i))
    (folder / "intake-air-9.flac").write_bytes(b"no sound in here")
    with create_job(tmp_path / "jobs", title="t", engine=layout("inline-4")) as opened:
        round_id = begin_round(opened, 1)
        event = bring_in(opened, round_id, recordings_in(folder).recordings)
        clips = {(c.kept.point, c.kept.walk): c.kept.imported_from for c in opened.job.round(round_id).live_clips()}
    assert clips == {
        ("intake", "quiet"): "intake-quiet-1.flac",
        ("intake", "air"): "intake-air-1.flac",
        ("intake", "closing"): "intake-quiet-2.flac",
        ("tailpipe", "quiet"): "tailpipe-quiet-1.flac",
    }
    assert len(event.left_out) == 1 and "intake-air-9" in event.left_out[0]


def test_nothing_to_take_is_one_clear_line(tmp_path: Path) -> None:
    with create_job(tmp_path / "jobs", title="t", engine=layout("inline-4")) as opened:
        round_id = begin_round(opened, 1)
        with pytest.raises(RoundError, match="no sound files"):
            recordings_in(tmp_path / "jobs")
        with pytest.raises(RoundError, match="cannot be read"):
            recordings_in(tmp_path / "nowhere")
        with pytest.raises(RoundError, match="no recording was named"):
            bring_in(opened, round_id, [Recording(tmp_path / "a.wav", 1.0)])


def test_what_could_not_be_taken_is_named_once_and_counted(tmp_path: Path) -> None:
    """A folder of broken files: which one, what is wrong, what can be read instead, and that there are more."""
    folder = tmp_path / "broken"
    folder.mkdir()
    (folder / "intake-quiet-1.wav").write_bytes(b"RIFFxxxxWAVEjunk")
    (folder / "tailpipe-air-1.mp3").write_bytes(bytes(range(256)) * 8)
    needed = r"MP3, Ogg or Opus is needed \(and 1 more\)"
    with (
        create_job(tmp_path / "jobs", title="t", engine=layout("inline-4")) as opened,
        pytest.raises(RoundError, match=needed) as caught,
    ):
        bring_in(opened, begin_round(opened, 1), recordings_in(folder).recordings)
    assert str(caught.value).count("intake-quiet-1.wav") == 1


def test_a_recorders_first_input_left_empty_is_passed_over_and_said(tmp_path: Path) -> None:
    """Nobody can choose a channel on the screen: the one with sound comes in, and the clip tells which it is."""
    folder = tmp_path / "recorder"
    folder.mkdir()
    sound = noise(1).samples
    soundfile.write(folder / "intake-quiet-1.wav", np.stack([0 * sound, sound], 1), 48_000, subtype="PCM_24")
    soundfile.write(folder / "intake-air-1.wav", np.stack([sound, 2 * sound], 1), 48_000, subtype="PCM_24")
    soundfile.write(folder / "tailpipe-air-1.wav", np.stack([0 * sound, 0 * sound], 1), 48_000, subtype="PCM_24")
    with create_job(tmp_path / "jobs", title="t", engine=layout("inline-4")) as opened:
        round_id = begin_round(opened, 1)
        bring_in(opened, round_id, recordings_in(folder).recordings)
        clips = {c.kept.imported_from: opened.clip_path(c.id) for c in opened.job.round(round_id).live_clips()}
    assert list(clips) == ["intake-quiet-1.wav, channel 1", "intake-air-1.wav", "tailpipe-air-1.wav"]
    for file in clips.values():
        assert np.std(read_clip(file).samples) == pytest.approx(
            0.0 if file == clips["tailpipe-air-1.wav"] else 0.01, rel=0.02
        )
