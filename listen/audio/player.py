"""For the ear, never for measuring: the loudspeaker, which plays one clip at a time to its exact last sample without
making anybody wait; and a clip as MP3, small and in memory."""

import io
import threading
from typing import Any

import numpy as np
from numpy.typing import NDArray

from listen.audio import library
from listen.audio.devices import Device, find
from listen.errors import AudioError, ClipError
from listen.signal.clip import Clip

TAIL_S = 0.3
"""Zeros fed after the clip: ending a stream at the end of data cuts its last 29 ms at 48 kHz, and up to 0.14 s were
seen cut at other rates under load."""
LATENCY_S = 0.1
"""Asked of PortAudio; no dropouts beside a screen that redraws, and a key still answers at once."""
OPEN_S = 3.0


class Sounding:
    """One clip on its way to the loudspeaker; PortAudio's thread calls :meth:`callback`."""

    def __init__(self, samples: NDArray[np.float32], stop: type[Exception]) -> None:
        self._stop = stop
        self.done = threading.Event()
        self._samples = samples
        self._at = 0

    def callback(self, outdata: NDArray[np.float32], frames: int, times: Any, status: Any) -> None:
        """Hand the next samples over; zeros once they are used up, then the end."""
        piece = self._samples[self._at : self._at + frames]
        outdata[: len(piece), 0] = piece
        # Else the loudspeaker plays what lay in this memory before.
        outdata[len(piece) :, 0] = 0.0
        self._at += frames
        if self._at >= len(self._samples):
            # PortAudio's own way to let what it holds play out and then end.
            raise self._stop

    def finished(self) -> None:
        """The stream has ended, by itself or by us."""
        self.done.set()


class Player:
    """Plays clips on one output: a number, a name or part of one; None for the system's default."""

    def __init__(self, device: Device | str | int | None = None) -> None:
        self._wanted = device.label if isinstance(device, Device) else device
        self._sounding: Sounding | None = None

    @property
    def playing(self) -> bool:
        """True until the clip's last sample has been handed over and played, or it was stopped."""
        return self._sounding is not None and not self._sounding.done.is_set()

    def play(self, clip: Clip, gain_db: float = 0.0) -> None:
        """Start playing ``clip``, in place of any that plays, and return; values beyond full scale are held at it.

        Raises NoPortAudio, DeviceNotFound: from looking the device up. AudioError: the loudspeaker cannot be opened."""
        self.stop()
        sd = library.portaudio()
        device = find("output", self._wanted)
        try:
            sounding, stream = library.call_portaudio(
                lambda: _start(sd, device, clip, gain_db), "opening the speaker", OPEN_S
            )
        except sd.PortAudioError as error:
            raise AudioError(f"{device.name} cannot be opened for playing ({library.reason(error)})") from error
        self._sounding = sounding
        # A daemon: a loudspeaker that hangs does not keep the program from ending.
        threading.Thread(target=_end, args=(sounding, stream), name="player", daemon=True).start()

    def stop(self) -> None:
        """Be silent at once; harmless when nothing plays."""
        sounding, self._sounding = self._sounding, None
        if sounding is not None:
            sounding.done.set()


def _start(sd: Any, device: Device, clip: Clip, gain_db: float) -> tuple[Sounding, Any]:
    rate_hz = _taken_rate(sd, device, clip.rate_hz)
    sounding = Sounding(_prepared(clip, rate_hz, gain_db), sd.CallbackStop)
    stream = sd.OutputStream(
        device=device.index,
        samplerate=rate_hz,
        blocksize=rate_hz // 100,
        channels=1,
        dtype="float32",
        latency=LATENCY_S,
        callback=sounding.callback,
        finished_callback=sounding.finished,
    )
    library.start_stream(stream)
    return sounding, stream


def _taken_rate(sd: Any, device: Device, rate_hz: int) -> int:
    """The clip's own rate where the device takes it, else the device's."""
    try:
        sd.check_output_settings(device.index, 1, "float32", samplerate=rate_hz)
    except sd.PortAudioError:
        return device.rate_hz
    return rate_hz


def _prepared(clip: Clip, rate_hz: int, gain_db: float) -> NDArray[np.float32]:
    return np.concatenate([_loud(clip, rate_hz, gain_db), np.zeros(round(TAIL_S * rate_hz), np.float32)])


def _loud(clip: Clip, rate_hz: int, gain_db: float) -> NDArray[np.float32]:
    """At another rate and gain, held at full scale [shape=(n,)]."""
    samples = clip.samples
    if rate_hz != clip.rate_hz:
        import librosa

        samples = librosa.resample(samples, orig_sr=clip.rate_hz, target_sr=rate_hz)
    return np.asarray(np.clip(samples * np.float32(10 ** (gain_db / 20)), -1.0, 1.0))


def _end(sounding: Sounding, stream: Any) -> None:
    """Close the stream from a thread of our own once the clip is over: PortAudio's thread may not do it itself."""
    sounding.done.wait()
    library.close_stream(stream)


RATES_HZ = (8_000, 11_025, 12_000, 16_000, 22_050, 24_000, 32_000, 44_100, 48_000)
"""Rates that MPEG-1 and MPEG-2 audio layer III know (ISO/IEC 11172-3, 13818-3); others are resampled to the last."""
QUALITY = 0.6
"""libsndfile's compression quality (0 small to 1 large) of variable-rate MP3: measured, 6 to 8 kB a second of shop
noise at 48 kHz, with the hiss kept to 16 kHz."""
MP3_BLOCK = 8_192
"""Frames handed over at a time; libsndfile's writers keep long blocks on the stack."""


def mp3_bytes(clip: Clip, *, gain_db: float = 0.0) -> bytes:
    """The clip as MP3, one channel; ``gain_db`` is applied first and held at full scale.

    MP3 plays in every browser, those of old telephones included. It changes what the ear cannot hear.

    Raises ClipError: the clip cannot be held by the form, or this libsndfile cannot write it."""
    import soundfile

    out = io.BytesIO()
    rate_hz = clip.rate_hz if clip.rate_hz in RATES_HZ else RATES_HZ[-1]
    loud = _loud(clip, rate_hz, gain_db)
    try:
        with soundfile.SoundFile(
            out,
            "w",
            rate_hz,
            1,
            "MPEG_LAYER_III",
            format="MP3",
            bitrate_mode="VARIABLE",
            compression_level=1.0 - QUALITY,
        ) as file:
            for first in range(0, len(loud), MP3_BLOCK):
                file.write(loud[first : first + MP3_BLOCK])
    except (soundfile.LibsndfileError, TypeError, ValueError) as error:
        raise ClipError(f"{clip.name or 'clip'}: cannot be written as MP3 ({error})") from error
    return out.getvalue()
