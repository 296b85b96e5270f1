"""What any microphone offers, real or simulated; and the real one: a PortAudio stream opened at the device's own rate,
watched, and recorded from."""

import threading
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from listen.audio import library
from listen.audio.devices import Device, find
from listen.audio.take import BlockReceiver, Recording, Take, Told
from listen.audio.watch import BLOCKS_A_SECOND
from listen.errors import AudioError, DeviceLost

LATENCY_S = 0.15
"""Asked of PortAudio: rides out 80 ms of delay by other work in the process, unnoticed on a meter."""
OPEN_S = 3.0
"""Longest wait for a device to open and send its first block; USB microphones take up to a second to wake."""


class SoundInput(Protocol):
    """A microphone. ``open``, ``close`` and ``record`` may wait: call them from a worker thread."""

    @property
    def name(self) -> str:
        """Name to show."""

    @property
    def rate_hz(self) -> int:
        """Sample rate; final once open."""

    @property
    def channels(self) -> int:
        """How many there are."""

    def open(self) -> None:
        """Start listening; also after a trouble, to connect again (``AudioError``: it cannot be opened)."""

    def close(self) -> None:
        """Stop listening; never hangs, harmless when closed already."""

    def drain(self) -> list[NDArray[np.float32]]:
        """Blocks since the last call [shape=(n, C)] each; never waits, and old ones go when nobody asks."""

    def trouble(self) -> AudioError | None:
        """What is wrong with the stream at this moment, as one sentence; None while sound arrives."""

    def record(
        self, parts: Sequence[Path | None], seconds: float, cancel: threading.Event, told: Told | None = None
    ) -> tuple[Recording | None, ...]:
        """Write so much sound of each channel to its own new part (None: not recorded) as it arrives; a single part
        of several channels gets their mean. None in place of one not recorded, or that died beside others.

        Raises DeviceLost: the whole input went away, fell silent or stalled, or every channel died; what had arrived
        is kept in the parts. AudioError: it is not open, or a part cannot be written."""


class Microphone:
    """One input as a :class:`SoundInput`: of so many of its channels, from the first.

    ``device`` is the input, its number, name or part of one; None for the system's default. It is looked up by name at
    each :meth:`open`, so that a microphone that was plugged in again is found although its number has changed.
    """

    def __init__(self, device: Device | str | int | None = None, *, channels: int = 1) -> None:
        # By its label: numbers change when devices come and go.
        self._wanted = device.label if isinstance(device, Device) else device
        self.channels = channels
        self._rate_hz: int | None = None
        self._device: Device | None = None
        self._stream: Any = None
        self._receiver: BlockReceiver | None = None
        self._opened_before = False

    @property
    def name(self) -> str:
        return self._device.name if self._device else str(self._wanted if self._wanted is not None else "microphone")

    @property
    def rate_hz(self) -> int:
        # Kept once known: takes of one point need one rate, also after the microphone was plugged in again.
        if self._rate_hz is None:
            self._rate_hz = find("input", self._wanted).rate_hz
        return self._rate_hz

    def open(self) -> None:
        """Open the stream and wait for its first block; a stream that is open in good order is kept.

        Raises NoPortAudio, DeviceNotFound: from looking the device up. DeviceLost: it opens but sends nothing.
        AudioError: it cannot be opened."""
        if self._stream is not None and self.trouble() is None:
            return
        self.close()
        # PortAudio lists its devices once: one that was plugged in again is only there when it begins anew.
        if self._opened_before:
            library.reload_devices()
        self._opened_before = True
        self._device = device = find("input", self._wanted)
        if device.channels < self.channels:
            raise AudioError(
                f"{device.name} has {device.channels} channels, {self.channels} are needed; choose another input"
            )
        self._stream, self._receiver = self._started(device)
        if not self._receiver.begun(OPEN_S):
            self.close()
            raise DeviceLost(f"{device.name} opens but sends nothing; unplug it, plug it in again and try once more")

    def close(self) -> None:
        # Forgotten first: a close that hangs is not tried a second time.
        stream, self._stream = self._stream, None
        if stream is not None:
            library.close_stream(stream)

    def drain(self) -> list[NDArray[np.float32]]:
        return [b.samples for b in self._receiver.drain()] if self._receiver is not None else []

    def trouble(self) -> AudioError | None:
        if self._receiver is None or self._stream is None:
            return None
        trouble = self._receiver.trouble()
        return DeviceLost(f"{self.name} {trouble}") if trouble else None

    def record(
        self, parts: Sequence[Path | None], seconds: float, cancel: threading.Event, told: Told | None = None
    ) -> tuple[Recording | None, ...]:
        if self._receiver is None or self._stream is None:
            raise AudioError(f"{self.name} is not open; open it before recording")
        return Take(self._receiver, self.name, self.rate_hz, cancel).record(parts, seconds, told)

    def _started(self, device: Device) -> tuple[Any, BlockReceiver]:
        sd = library.portaudio()
        # As before, since a round must not mix rates; else the device's own.
        rates = dict.fromkeys(hz for hz in (self._rate_hz, device.rate_hz, device.reported_hz) if hz)
        for rate_hz in rates:
            try:
                opened = library.call_portaudio(
                    partial(_open, sd, device, rate_hz, self.channels), "opening the microphone", OPEN_S
                )
            # A driver may name a rate that it then refuses: the next one is tried.
            except sd.PortAudioError as error:
                failure = error
            else:
                self._rate_hz = rate_hz
                return opened
        raise AudioError(
            f"{device.name} cannot be opened ({library.reason(failure)}); another program may hold it"
        ) from failure


def _open(sd: Any, device: Device, rate_hz: int, channels: int) -> tuple[Any, BlockReceiver]:
    block = max(1, rate_hz // BLOCKS_A_SECOND)
    receiver = BlockReceiver(rate_hz, block)
    stream = sd.InputStream(
        device=device.index,
        samplerate=rate_hz,
        blocksize=block,
        channels=channels,
        dtype="float32",
        latency=LATENCY_S,
        callback=receiver.callback,
        finished_callback=receiver.finished,
    )
    library.start_stream(stream)
    return stream, receiver
