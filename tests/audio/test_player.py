"""A clip reaches the loudspeaker whole, to its last sample, and nobody waits for it."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from listen.audio.files import read_part
from tests.audio.streams import Recorder, known_noise
from tests.patience import TRIES, in_time
from tests.sound_server import RATE_HZ, SoundServer


def heard(
    sound_server: SoundServer, tmp_path: Path, play_orders: list[tuple[object, ...]], seconds: float
) -> np.ndarray:
    """What the loudspeaker's monitor hears while another process obeys the orders [shape=(n,)]."""
    for part in tmp_path.glob("heard.part"):
        part.unlink()
    ear, mouth = Recorder(sound_server, "vspk_mon"), Recorder(sound_server)
    ear.ask("open")
    ear.tell("record", tmp_path / "heard.part", seconds)
    for order in play_orders:
        if order[0] == "sleep":
            time.sleep(float(order[1]))  # type: ignore[arg-type]
        else:
            answer = mouth.ask(*order)
            assert "error" not in answer, answer
    ear.answer()  # the silence at the end may be called a trouble: the part holds what was heard
    return read_part(tmp_path / "heard.part").samples


def heard_in_one_piece(
    sound_server: SoundServer, tmp_path: Path, play_orders: list[tuple[object, ...]], seconds: float
) -> np.ndarray:
    """The same of one clip, again where a machine without a core to spare let the server run dry in its middle."""
    for _ in range(TRIES):
        take = heard(sound_server, tmp_path, play_orders, seconds)
        if np.diff(np.flatnonzero(take)).max() < 0.001 * RATE_HZ:
            break
        sound_server.afresh()
    return take


def test_a_clip_is_played_exactly_and_to_its_end(sound_server: SoundServer, tmp_path: Path) -> None:
    source = known_noise(tmp_path / "clip.wav", 1.2)
    take = heard_in_one_piece(sound_server, tmp_path, [("play", tmp_path / "clip.wav"), ("wait", 5)], 2.4)
    begun = int(np.flatnonzero(take)[0])
    assert np.array_equal(take[begun : begun + len(source)], source)
    assert not take[begun + len(source) :].any()


def test_play_returns_at_once_and_stop_is_heard_at_once(sound_server: SoundServer, tmp_path: Path) -> None:
    known_noise(tmp_path / "long.wav", 30)

    def returned_s() -> float:
        mouth = Recorder(sound_server)
        answer = mouth.ask("play", tmp_path / "long.wav")
        assert answer["playing"] is True
        time.sleep(0.4)
        mouth.ask("stop")
        assert mouth.ask("wait", 0)["over"] is True
        assert mouth.leave() == 0
        return float(answer["returned_s"])

    in_time(returned_s, 1.5, sound_server.afresh)


def test_the_second_clip_replaces_the_first(sound_server: SoundServer, tmp_path: Path) -> None:
    known_noise(tmp_path / "a.wav", 30, seed=1)
    second = known_noise(tmp_path / "b.wav", 0.5, seed=2)
    orders = [("play", tmp_path / "a.wav"), ("sleep", 0.4), ("play", tmp_path / "b.wav"), ("wait", 5)]
    take = heard(sound_server, tmp_path, orders, 2.2)
    ends = int(np.flatnonzero(take)[-1]) + 1
    assert np.array_equal(take[ends - len(second) : ends], second)


@pytest.mark.parametrize("rate_hz", [22_050, 96_000])
def test_a_clip_of_another_rate_keeps_its_pitch(sound_server: SoundServer, tmp_path: Path, rate_hz: int) -> None:
    tone = 0.5 * np.sin(2 * np.pi * 1000 * np.arange(rate_hz) / rate_hz)
    soundfile.write(tmp_path / "tone.wav", tone, rate_hz)
    take = heard_in_one_piece(sound_server, tmp_path, [("play", tmp_path / "tone.wav"), ("wait", 5)], 2.0)
    sound = take[int(np.flatnonzero(take)[0]) :][:RATE_HZ]
    spectrum = np.abs(np.fft.rfft(sound[4800 : 4800 + 24_000]))
    assert np.argmax(spectrum) * 2 == 1000
    loud = np.flatnonzero(np.abs(take) > 0.01)
    assert abs((loud[-1] - loud[0]) / RATE_HZ - 1.0) < 0.002


def test_the_callback_hands_over_every_sample_then_zeros_then_ends() -> None:
    from listen.audio.player import TAIL_S, Sounding, _prepared
    from listen.signal.clip import Clip

    class Stop(Exception):
        pass

    clip = Clip.of(np.linspace(-0.9, 0.9, 1000, dtype=np.float32), RATE_HZ)
    sounding, out = Sounding(_prepared(clip, RATE_HZ, 0.0), Stop), []
    buffer = np.ones((480, 1), np.float32)
    ended = False
    while not ended:
        try:
            sounding.callback(buffer, 480, None, None)
        except Stop:
            ended = True
        out.append(buffer[:, 0].copy())
    played = np.concatenate(out)
    assert np.array_equal(played[:1000], clip.samples)
    assert len(played) >= 1000 + TAIL_S * RATE_HZ
    assert not played[1000:].any()


def test_gain_is_held_at_full_scale() -> None:
    from listen.audio.player import _prepared
    from listen.signal.clip import Clip

    assert _prepared(Clip.of([0.1, 0.9, -0.9], RATE_HZ), RATE_HZ, 6.0206)[:3].tolist() == [
        np.float32(0.1) * np.float32(10 ** (6.0206 / 20)), 1.0, -1.0
    ]  # fmt: skip
