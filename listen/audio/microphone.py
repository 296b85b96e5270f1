"""The real microphone: a PortAudio stream opened at the device's own rate, watched, and recorded from,
one channel or several: a part file a channel, so that one that fails costs the others nothing."""

import threading
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from listen.audio import library
from listen.audio.block_receiver import BlockReceiver
from listen.audio.devices import Device, find_input
from listen.audio.partial import PartWriter
from listen.audio.take import Recording, Take, Told, sentence, written
from listen.audio.watch import ZEROS_S
from listen.errors import AudioError, DeviceLost

LATENCY_S = 0.15
"""Asked of PortAudio: rides out 80 ms of delay by other work in the process, unnoticed on a meter."""
BLOCKS_A_SECOND = 100
"""Callbacks a second; a fixed block size, since PortAudio's own choice is ragged."""
OPEN_S = 3.0
"""Longest wait for a device to open and send its first block; USB microphones take up to a second to wake."""


class Microphone:
    """One input as a :class:`listen.audio.take.SoundInput`.

    Parameters
    ----------
    device
        Input, number, name or part of one; None for the system's default. It is looked up by name at each
        :meth:`open`, so that a microphone that was plugged in again is found although its number has changed.
    rate_hz
        Sample rate; the device's own by default.
    channels
        How many of the input's channels to take, from the first.
    """

    def __init__(
        self, device: Device | str | int | None = None, *, rate_hz: int | None = None, channels: int = 1
    ) -> None:
        self._wanted = device.label if isinstance(device, Device) else device
        self._asked_hz = rate_hz
        self.channels = channels
        self._rate_hz = rate_hz
        self._device: Device | None = None
        self._stream: Any = None
        self._receiver: BlockReceiver | None = None
        self._opened_before = False

    @property
    def name(self) -> str:
        return self._device.name if self._device else str(self._wanted if self._wanted is not None else "microphone")

    @property
    def rate_hz(self) -> int:
        """Sample rate; final once open."""
        if self._rate_hz is None:
            self._rate_hz = find_input(self._wanted).rate_hz
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
        self._device = device = find_input(self._wanted)
        if device.channels < self.channels:
            raise AudioError(
                f"{device.name} has {device.channels} channels, {self.channels} are needed; choose another input"
            )
        self._stream, self._receiver = self._started(device)
        if not self._receiver.begun(OPEN_S):
            self.close()
            raise DeviceLost(f"{device.name} opens but sends nothing; unplug it, plug it in again and try once more")

    def close(self) -> None:
        """Abort and close the stream; never hangs, harmless when closed already."""
        stream, self._stream = self._stream, None
        if stream is not None:
            library.close_stream(stream)

    def drain(self) -> list[NDArray[np.float32]]:
        """Blocks since the last call, for a level meter."""
        return [b.samples for b in self._receiver.drain()] if self._receiver is not None else []

    def drain_all(self) -> list[NDArray[np.float32]]:
        """The same with every channel [shape=(n, C)] each."""
        blocks = self._receiver.drain() if self._receiver is not None else []
        return [b.samples[:, None] if b.channels is None else b.channels for b in blocks]

    def trouble(self) -> AudioError | None:
        """What is wrong with the stream at this moment; None while sound arrives or before it was opened."""
        if self._receiver is None or self._stream is None:
            return None
        trouble = self._receiver.trouble()
        return DeviceLost(sentence(trouble, self.name)) if trouble else None

    def record(self, part: Path, seconds: float, cancel: threading.Event, told: Told | None = None) -> Recording:
        """Write ``seconds`` of sound to ``part``; see :meth:`listen.audio.take.SoundInput.record`."""
        (recording,) = record_all(self._take(cancel), [part], seconds, told)
        assert recording is not None  # of one channel that dies the whole input is told to have gone
        return recording

    def record_all(
        self, parts: Sequence[Path | None], seconds: float, cancel: threading.Event, told: Told | None = None
    ) -> tuple[Recording | None, ...]:
        """Write ``seconds`` of each channel to its own part; see :func:`listen.audio.microphone.record_all`."""
        return record_all(self._take(cancel), parts, seconds, told)

    def _take(self, cancel: threading.Event) -> Take:
        if self._receiver is None or self._stream is None:
            raise AudioError(f"{self.name} is not open; open it before recording")
        return Take(self._receiver, self.name, self.rate_hz, cancel)

    def _started(self, device: Device) -> tuple[Any, BlockReceiver]:
        sd = library.portaudio()
        try:
            rates = self._rates(sd, device)
        except sd.PortAudioError as error:  # it went away since it was looked up
            raise AudioError(f"{device.name} cannot be asked for its rate ({library.reason(error)})") from error
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

    def _rates(self, sd: Any, device: Device) -> list[int]:
        """Rates to try: as asked, else as before (a round must not mix rates), else the device's own."""
        if self._asked_hz:
            return [self._asked_hz]
        told = library.call_portaudio(lambda: sd.query_devices(device.index), "asking the microphone for its rate")
        reported = round(told["default_samplerate"])
        return list(dict.fromkeys(hz for hz in (self._rate_hz, device.rate_hz, reported) if hz))


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


CLIP_LEVEL = 0.999
CLIPPED_SAMPLES = 4
"""So many in one block of 10 ms are told; fewer may be one knock."""


@dataclass(slots=True)
class _Channel:
    number: int
    part: Path
    writer: PartWriter
    told: Told | None
    others: bool
    """Whether more channels run beside it: one alone is told to have gone by what watches the stream."""
    zeros: int = 0
    dead: bool = False
    clipped: bool = False

    def take(self, samples: NDArray[np.float32], overflows: int, rate_hz: int) -> None:
        """Write its samples [shape=(n,)] unless it is dead; tell once that it is, and once that it clips."""
        if self.dead:
            return
        self.writer.write(samples, overflows)
        # Zeros are counted on from block to block, from the last sample that was none.
        sounding = np.flatnonzero(samples)
        self.zeros = self.zeros + len(samples) if not len(sounding) else len(samples) - 1 - int(sounding[-1])
        if self.others and self.zeros >= ZEROS_S * rate_hz:
            self.dead = True
            self._tell(f"sends nothing but zeros since {self.zeros / rate_hz:.1f} s: unplugged or switched off")
        if not self.clipped and int((np.abs(samples) >= CLIP_LEVEL).sum()) >= CLIPPED_SAMPLES:
            self.clipped = True
            self._tell("is too loud and clips: turn its gain down")

    def _tell(self, what: str) -> None:
        several = f"channel {self.number + 1} {what}; the other channels are kept"
        if self.told is not None:
            self.told(self.number, several if self.others else f"the microphone {what}")


def record_all(
    take: Take, parts: Sequence[Path | None], seconds: float, told: Told | None = None
) -> tuple[Recording | None, ...]:
    """Record into a part for each channel (None: not recorded); None in place of one not recorded or that died.

    Raises DeviceLost: the whole input went away, or every channel died; what had arrived is kept in the parts.
    AudioError: a part cannot be written."""
    named = [part.name for part in parts if part is not None]
    with take, written(named[0] if len(named) == 1 else "the take"), ExitStack() as stack:
        channels = [
            _Channel(n, part, stack.enter_context(PartWriter(part, take.header)), told, len(parts) > 1)
            for n, part in enumerate(parts)
            if part is not None
        ]
        for block in take.blocks(seconds):
            # A single part of an input with several channels gets their mean.
            every = block.samples[:, None] if block.channels is None or len(parts) == 1 else block.channels
            for c in channels:
                c.take(every[:, c.number], take.overflows, take.rate_hz)
            if all(c.dead for c in channels):
                raise DeviceLost(f"{take.name}: no channel sends sound; check plugs and power, then record again")
    done = {c.number: take.recording(c.part) for c in channels if not c.dead}
    return tuple(done.get(n) for n in range(len(parts)))
