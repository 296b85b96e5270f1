"""Sound as phones store it (AAC, AMR, ALAC in MP4 and 3GP): read through PyAV, an extra that is asked for by name."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from listen.audio.headers import OpenSound
from listen.errors import ClipError

PHONE_SUFFIXES = (".m4a", ".mp4", ".3gp", ".3gpp", ".3g2", ".amr", ".aac", ".caf", ".webm")
"""Files that libsndfile does not read."""
NEEDED = "is a phone's recording; install the extra that reads it (pip install 'hissway[phone]') or export it as WAV"
CONTAINERS = "mov,mp4,m4a,3gp,3g2,mj2,amr,aac,caf,matroska,webm"
"""Forms that may be opened, by FFmpeg's names: none that names other files or places to be fetched, as playlists do."""
COARSE = ("pcm_mulaw", "pcm_alaw", "pcm_u8", "pcm_s8")
"""Codings of 8 bits a sample: their steps hide the hiss looked for."""
LOSSLESS = ("alac", "flac", "pcm")
"""Codecs, by the beginning of their names, that give back every sample."""


@contextmanager
def open_phone(path: Path) -> Iterator[OpenSound]:
    """A phone's recording, by its first stream of sound.

    Raises ClipError: PyAV is not installed, no sound in the file, or damaged, also while it is decoded."""
    try:
        import av
    except ImportError:
        raise ClipError(f"{path.name}: {NEEDED}") from None
    try:
        # By an open file, never by name: FFmpeg takes names with a colon for protocols.
        with path.open("rb") as file, av.open(file, "r", options={"format_whitelist": CONTAINERS}) as container:
            if not container.streams.audio:
                raise ClipError(f"{path.name}: holds no sound")
            stream = container.streams.audio[0]
            if stream.codec_context is None:  # damaged, or of a coding that this FFmpeg was built without
                raise ClipError(f"{path.name}: its sound is coded in a way not known here; export it as WAV")
            codec, seconds = str(stream.codec_context.name), (container.duration or 0) / 1_000_000
            # No number of samples: coded containers tell a duration, which padding makes a guess.
            yield OpenSound(
                int(stream.rate),
                int(stream.channels),
                seconds=seconds,
                form=codec.upper(),
                frames=None,
                blocks=lambda channel, first: _blocks(container.decode(stream), channel, first),
                coarse=codec in COARSE,
                date=str(container.metadata.get("creation_time", "")),
                particulars={} if codec.startswith(LOSSLESS) else {"coded": codec.upper()[:20]},
            )
    except (av.FFmpegError, ValueError, OSError) as error:
        raise ClipError(f"{path.name}: cannot be decoded ({error}); copy it again or export it as WAV") from error


def _blocks(frames: Any, channel: int, first: int) -> Iterator[NDArray[np.float32]]:
    import av

    # Whole or fractional numbers, a plane a channel or interleaved, by what coded it: here each comes as one form.
    planes, at = av.AudioResampler(format="fltp"), 0
    for frame in (one for coded in frames for one in planes.resample(coded)):
        block = frame.to_ndarray()[channel]
        if at + len(block) > first:
            yield np.array(block[max(0, first - at) :], dtype=np.float32)
        at += len(block)
