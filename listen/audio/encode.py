"""Clips as one small sound file in memory, in a form that every browser plays, for pages that carry their sounds."""

import io

import numpy as np

from listen.errors import ClipError
from listen.signal.clip import Clip

RATES_HZ = (8_000, 11_025, 12_000, 16_000, 22_050, 24_000, 32_000, 44_100, 48_000)
"""Rates that MPEG-1 and MPEG-2 audio layer III know (ISO/IEC 11172-3, 13818-3); others are resampled to the last."""
QUALITY = 0.6
"""libsndfile's compression quality (0 small to 1 large) of variable-rate MP3: measured, 6 to 8 kB a second of shop
noise at 48 kHz, with the hiss kept to 16 kHz."""
BLOCK = 8_192
"""Frames handed over at a time; libsndfile's writers keep long blocks on the stack."""


def mp3_bytes(clip: Clip, *, gain_db: float = 0.0) -> bytes:
    """The clip as MP3, one channel; ``gain_db`` is applied first and held at full scale.

    MP3 plays in every browser, those of old telephones included. It changes what the ear cannot hear; it is for
    listening, never for measuring.

    Raises ClipError: the clip cannot be held by the form, or this libsndfile cannot write it."""
    import soundfile

    out = io.BytesIO()
    rate_hz, samples = _at_known_rate(clip)
    loud = np.clip(samples * np.float32(10 ** (gain_db / 20)), -1.0, 1.0)
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
            for first in range(0, len(loud), BLOCK):
                file.write(loud[first : first + BLOCK])
    except (soundfile.LibsndfileError, TypeError, ValueError) as error:
        raise ClipError(f"{clip.name or 'clip'}: cannot be written as MP3 ({error})") from error
    return out.getvalue()


def _at_known_rate(clip: Clip) -> tuple[int, np.ndarray]:
    if clip.rate_hz in RATES_HZ:
        return clip.rate_hz, clip.samples
    import librosa

    return RATES_HZ[-1], librosa.resample(clip.samples, orig_sr=clip.rate_hz, target_sr=RATES_HZ[-1])
