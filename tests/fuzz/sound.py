"""The fuzzer's doors for sound: WAV and FLAC files, and takes left over from a crash."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

Feed = Callable[[bytes, Path], None]


def sound_seeds(form: str, subtypes: tuple[str, ...]) -> Callable[[Path], list[bytes]]:
    def seeds(_: Path) -> list[bytes]:
        import numpy as np
        import soundfile

        made = []
        for n, subtype in enumerate(subtypes):
            out = io.BytesIO()
            noise = np.random.default_rng(n).normal(size=(4000, 1 + n % 2)) * 0.05
            soundfile.write(out, noise, (48_000, 16_000)[n % 2], subtype, format=form)
            made.append(out.getvalue())
        return made

    return seeds


def read_sound(suffix: str) -> Feed:
    def feed(data: bytes, room: Path) -> None:
        import numpy as np

        from listen.audio.files import read_clip, sound_info
        from listen.signal.quality import check_clip
        from listen.signal.spectra import spectra

        path = room / f"intake-air{suffix}"
        path.write_bytes(data)
        clip = read_clip(path)
        if not np.isfinite(clip.samples).all():
            raise AssertionError("a clip that is not finite was let in")
        sound_info(path)
        if clip.seconds < 5:
            check_clip(clip, spectra(clip))

    return feed


def phone_seeds(room: Path) -> list[bytes]:
    """A voice memo, where PyAV is there to make and to read one."""
    from fractions import Fraction

    import numpy as np

    try:
        import av
    except ImportError:
        return [b"no reader here"]
    path = room / "seed.m4a"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("aac", rate=16_000)
        stream.layout = "mono"
        noise = np.random.default_rng(1).normal(size=(1, 16_000)).astype(np.float32) * 0.05
        frame = av.AudioFrame.from_ndarray(noise, format="fltp", layout="mono")
        frame.rate, frame.time_base, frame.pts = 16_000, Fraction(1, 16_000), 0
        for packet in [*stream.encode(frame), *stream.encode(None)]:
            container.mux(packet)
    data = path.read_bytes()
    path.unlink()
    return [data]


def part_seeds(room: Path) -> list[bytes]:
    from datetime import UTC, datetime

    import numpy as np

    from listen.audio.headers import PartHeader
    from listen.audio.write import PartWriter

    path = room / "seed.part"
    with PartWriter(path, PartHeader(48_000, "invented", datetime(2026, 1, 5, tzinfo=UTC))) as writer:
        writer.write(np.random.default_rng(1).normal(size=2000).astype(np.float32), 0)
    data = path.read_bytes()
    path.unlink()
    return [data, data[:1500]]


def read_part(data: bytes, room: Path) -> None:
    from listen.audio.write import finish

    part = room / "a.part"
    part.write_bytes(data)
    finish(part, room / "a.flac")
