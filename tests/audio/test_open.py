"""Opening: the device's own rate, the next one where it is refused, and clear words where it cannot be had."""

from __future__ import annotations

import sys
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from listen.audio import devices, library, player, watch
from listen.audio.microphone import Microphone
from listen.audio.take import BlockReceiver
from listen.errors import AudioError, DeviceLost, DeviceNotFound
from listen.signal.clip import Clip


class PortAudioError(Exception):
    pass


class FakePortAudio:
    """As much of ``sounddevice`` as is used, with devices and tempers that the test sets."""

    PortAudioError = PortAudioError
    CallbackStop = type("CallbackStop", (Exception,), {})

    def __init__(self) -> None:
        self.rows = [
            {"index": 0, "name": "Cart USB", "hostapi": 0, "max_input_channels": 1, "max_output_channels": 0,
             "default_samplerate": 44_100.0},
            {"index": 1, "name": "Built-in", "hostapi": 1, "max_input_channels": 2, "max_output_channels": 2,
             "default_samplerate": 96_000.0},
        ]  # fmt: skip
        self.default = SimpleNamespace(device=(1, 1))
        self.takes = {44_100, 96_000}
        self.silent = False
        self.opened: list[tuple[int, int]] = []

    def query_devices(self, index: int | None = None) -> Any:
        return self.rows if index is None else next(r for r in self.rows if r["index"] == index)

    def query_hostapis(self) -> list[dict[str, str]]:
        return [{"name": "ALSA"}, {"name": "Core"}]

    def check_output_settings(self, *args: Any, samplerate: int) -> None:
        if samplerate not in self.takes:
            raise PortAudioError("Invalid sample rate")

    def InputStream(self, **asked: Any) -> Any:
        if asked["samplerate"] not in self.takes:
            raise PortAudioError("Invalid sample rate")
        self.opened.append((asked["device"], asked["samplerate"]))

        def start() -> None:
            if not self.silent:
                block = np.full((asked["blocksize"], 1), 0.1, np.float32)
                asked["callback"](block, len(block), None, SimpleNamespace(input_overflow=False))

        return SimpleNamespace(start=start, abort=lambda: None, close=lambda: None)


@pytest.fixture
def fake(monkeypatch: pytest.MonkeyPatch) -> FakePortAudio:
    sd = FakePortAudio()
    monkeypatch.setattr(library, "portaudio", lambda: sd)
    monkeypatch.setitem(sys.modules, "sounddevice", sd)  # what the thread that talks to it imports, library or none
    monkeypatch.setattr(library, "reload_devices", lambda: True)
    monkeypatch.setattr(watch, "QUIET_S", 60.0)  # its one block is enough
    return sd


def test_devices_are_listed_with_their_rates(fake: FakePortAudio) -> None:
    found = devices.listed("input")
    assert [(d.name, d.rate_hz, d.is_default) for d in found] == [
        ("Cart USB", 48_000, False),
        ("Built-in", 96_000, True),
    ]
    assert [d.name for d in devices.listed("output")] == ["Built-in"]


def test_two_of_one_name_can_be_told_apart_and_either_chosen(fake: FakePortAudio) -> None:
    """Two microphones of one make; on Windows one microphone stands under each of its sound systems."""
    fake.rows += [
        {"index": i, "name": "Cart USB", "hostapi": host, "max_input_channels": 1, "max_output_channels": 0,
         "default_samplerate": 44_100.0}
        for i, host in ((2, 0), (3, 1))
    ]  # fmt: skip
    found = devices.listed("input")
    assert [d.label for d in found] == ["Cart USB, ALSA 1", "Built-in", "Cart USB, ALSA 2", "Cart USB, Core"]
    assert [devices.find("input", d.label).index for d in found] == [0, 1, 2, 3]
    assert devices.find("input", "cart usb").index == 0, "its bare name is the first of them, as ever"
    mic = Microphone(found[2])
    mic.open()
    assert fake.opened[0][0] == 2
    del fake.rows[2:]
    assert devices.find("input", "Cart USB, ALSA").index == 0, "a label kept from when there were two"


@pytest.mark.parametrize(("spec", "index"), [(None, 1), (0, 0), ("1", 1), ("cart usb", 0), ("usb", 0), ("BUILT", 1)])
def test_a_device_is_found_as_users_name_it(fake: FakePortAudio, spec: str | int | None, index: int) -> None:
    assert devices.find("input", spec).index == index


@pytest.mark.parametrize("spec", ["webcam", 7, "-1"])
def test_an_unknown_device_lists_what_there_is(fake: FakePortAudio, spec: str | int) -> None:
    with pytest.raises(DeviceNotFound, match="there are: 0 Cart USB, 1 Built-in"):
        devices.find("input", spec)


def test_a_name_that_fits_several_lists_those(fake: FakePortAudio) -> None:
    with pytest.raises(DeviceNotFound, match="several inputs called 'u'"):
        devices.find("input", "u")


def test_no_device_at_all(fake: FakePortAudio) -> None:
    fake.rows = []
    with pytest.raises(DeviceNotFound, match="no microphone found; plug one in"):
        Microphone().open()


def test_the_next_rate_is_taken_where_the_first_is_refused(fake: FakePortAudio) -> None:
    mic = Microphone("Cart USB")
    mic.open()
    assert mic.rate_hz == 44_100
    assert mic.trouble() is None


def test_a_microphone_that_refuses_every_rate_is_one_sentence(fake: FakePortAudio) -> None:
    fake.takes = {32_000}
    with pytest.raises(AudioError, match=r"Cart USB cannot be opened \(Invalid sample rate\)"):
        Microphone("Cart USB").open()


def test_after_plugging_in_again_the_number_may_differ_and_the_rate_stays(fake: FakePortAudio) -> None:
    mic = Microphone("Cart USB")
    mic.open()
    mic.close()
    fake.rows[0]["index"], fake.takes = 5, {44_100, 48_000}
    mic.open()
    assert fake.opened == [(0, 44_100), (5, 44_100)]


def test_opening_twice_keeps_the_stream(fake: FakePortAudio) -> None:
    mic = Microphone("Cart USB")
    mic.open()
    mic.open()
    assert len(fake.opened) == 1


def test_a_device_that_opens_and_sends_nothing_is_told(fake: FakePortAudio, monkeypatch: pytest.MonkeyPatch) -> None:
    fake.silent = True
    monkeypatch.setattr(BlockReceiver, "begun", lambda self, limit_s: self._begun.is_set())
    with pytest.raises(DeviceLost, match="opens but sends nothing"):
        Microphone("Cart USB").open()


def test_recording_before_opening_is_told(fake: FakePortAudio, tmp_path: Any) -> None:
    import threading

    with pytest.raises(AudioError, match="is not open"):
        Microphone("Cart USB").record([tmp_path / "a.part"], 1, threading.Event())


def test_a_loudspeaker_that_refuses_the_clips_rate_gets_its_own(fake: FakePortAudio) -> None:
    speaker = devices.find("output")
    rate_hz = player._taken_rate(fake, speaker, 8_000)
    assert rate_hz == 96_000
    tone = np.sin(2 * np.pi * 500 * np.arange(8_000) / 8_000)
    samples = player._prepared(Clip.of(0.5 * tone, 8_000), rate_hz, 0.0)[:96_000]
    assert np.argmax(np.abs(np.fft.rfft(samples))) == 500
    assert np.abs(samples[9_600:86_400]).max() == pytest.approx(0.5, abs=0.01)
