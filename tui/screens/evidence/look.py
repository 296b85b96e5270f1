"""The clips of a point made into what is drawn: run in a thread, loads what it needs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log2, log10
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypedDict

if TYPE_CHECKING:
    from listen.signal.clip import Clip
    from listen.signal.exhibit import Curve
    from listen.signal.picture import Picture

Part = Literal["all", "knocks", "rest"]
"""What of a clip is pictured: all of it, the knocks alone, or what is left without them."""
PART_WORDS: dict[Part, str] = {"all": "", "knocks": ", knocks alone", "rest": " without its knocks"}
LOW_HZ = 500.0
HIGH_HZ = 20_000.0
"""Frequencies pictured: a little more than the hiss bands."""
LABELS_HZ = (1_000, 2_000, 4_000, 8_000, 16_000)


class Shape(TypedDict):
    """Size of a picture and the frequencies at its edges."""

    rows: int
    columns: int
    low_hz: float
    high_hz: float


@dataclass(frozen=True, slots=True)
class Looked:
    """All that is drawn of a point."""

    lg_freq: Sequence[float]
    curves: dict[str, Curve]
    tones_hz: tuple[float, ...]
    tones_lg: tuple[float, ...]
    steps: tuple[tuple[int, ...], ...]
    labels: tuple[str, ...]
    seconds: float


def looked(paths: dict[str, Path], chosen: str, part: Part, columns: int, rows: int) -> Looked:
    """Read the clips and prepare both views. Raises what reading and measuring raise."""
    from listen.audio.files import read_clip
    from listen.signal.exhibit import exhibit, loudness_steps
    from listen.signal.picture import picture
    from tui.widgets.heat import STEPS

    clips = {name: read_clip(path) for name, path in paths.items()}
    seen = exhibit(clips.get("quiet"), clips.get("air"))
    curves = {name: c for name, c in (("quiet", seen.quiet), ("air", seen.air)) if c is not None}
    shape = _shape(clips[chosen].rate_hz, columns, rows)
    whole = picture(clips[chosen], **shape)
    drawn = whole if part == "all" else _parted(clips[chosen], part, shape)
    return Looked(
        lg_freq=seen.lg_freq.tolist(),
        curves=curves,
        tones_hz=seen.tones_hz,
        tones_lg=tuple(log10(hz) for hz in seen.tones_hz),
        steps=loudness_steps(drawn, STEPS, whole),
        labels=_labels([float(f) for f in drawn.freqs_hz]),
        seconds=clips[chosen].seconds,
    )


def _shape(rate_hz: int, columns: int, rows: int) -> Shape:
    """Rows such that an octave is an even number of them: its labels stand equally spaced, two rows a line."""
    octaves = log2(min(HIGH_HZ, rate_hz / 2) / LOW_HZ)
    each = max(2 * int(rows / octaves / 2), 2)
    count = int(octaves * each)
    low_hz = LOW_HZ * 2 ** (-0.5 / each)
    return Shape(rows=count, columns=columns, low_hz=low_hz, high_hz=low_hz * 2 ** (count / each))


def _parted(clip: Clip, part: Part, shape: Shape) -> Picture:
    from listen.signal.picture import split_knocks

    split = split_knocks(clip, **shape)
    return split.knocks if part == "knocks" else split.lasting


def _labels(freqs_hz: list[float]) -> tuple[str, ...]:
    """A label on the row nearest to each round frequency."""
    labels = [""] * len(freqs_hz)
    for hz in LABELS_HZ:
        nearest = min(range(len(freqs_hz)), key=lambda i: abs(freqs_hz[i] - hz), default=None)
        if nearest is not None and freqs_hz[-1] >= hz:
            labels[nearest] = f"{hz // 1000} kHz"
    return tuple(labels)
