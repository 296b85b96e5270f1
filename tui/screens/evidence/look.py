"""The clips of a point made into what is drawn, to be run in a thread."""

from collections.abc import Sequence
from math import log2
from pathlib import Path
from typing import Any, Literal

from listen.audio.files import read_clip
from listen.signal.clip import Clip
from listen.signal.exhibit import Exhibit, exhibit, loudness_steps, pictures_joined
from listen.signal.picture import picture, split_knocks
from tui.widgets.heat import STEPS, Picture

Part = Literal["all", "knocks", "rest"]
"""What of a clip is pictured: all of it, the knocks alone, or what is left without them."""
PART_WORDS: dict[Part, str] = {"all": "", "knocks": ", knocks alone", "rest": " without its knocks"}
LOW_HZ = 500.0
HIGH_HZ = 20_000.0
"""Frequencies pictured: a little more than the hiss bands."""
LABELS_HZ = (1_000, 2_000, 4_000, 8_000, 16_000)
GAP = 2
"""Dark columns between two pictures."""


def looked(paths: dict[str, Path], chosen: str, part: Part, columns: int, rows: int) -> tuple[Exhibit, Picture]:
    """Read the clips and prepare both views. Raises what reading and measuring raise."""
    clips = {name: read_clip(path) for name, path in paths.items()}
    clip = clips[chosen]
    octaves = log2(min(HIGH_HZ, clip.rate_hz / 2) / LOW_HZ)
    # An octave is an even number of rows: its labels stand equally spaced, two rows a line.
    each = max(2 * int(rows / octaves / 2), 2)
    count, low_hz = int(octaves * each), LOW_HZ * 2 ** (-0.5 / each)
    shape: dict[str, Any] = {
        "rows": count,
        "columns": columns,
        "low_hz": low_hz,
        "high_hz": low_hz * 2 ** (count / each),
    }
    drawn = whole = picture(clip, **shape)
    if part != "all":
        split = split_knocks(clip, **shape)
        drawn = split.knocks if part == "knocks" else split.lasting
    caption = f"{chosen} clip{PART_WORDS[part]}, 0 to {clip.seconds:.1f} s"
    made = Picture(loudness_steps(drawn, STEPS, whole), _labels(drawn.freqs_hz.tolist()), caption)
    return exhibit(clips.get("quiet"), clips.get("air")), made


def _labels(freqs_hz: list[float]) -> tuple[str, ...]:
    """A label on the row nearest to each round frequency."""
    labels = [""] * len(freqs_hz)
    for hz in LABELS_HZ:
        if freqs_hz[-1] >= hz:
            labels[min(range(len(freqs_hz)), key=lambda i: abs(freqs_hz[i] - hz))] = f"{hz // 1000} kHz"
    return tuple(labels)


def side_by_side(clips: Sequence[Clip], width: int, height: int) -> Picture:
    """Quiet at the left, air at the right, on one scale of loudness. Raises what measuring raises."""
    joined = pictures_joined(list(clips), rows=max(height - 1, 4) * 2, columns=max(width // 2 - GAP, 8), gap=GAP)
    return Picture(loudness_steps(joined, STEPS), (), "left: quiet   right: air   (low frequencies below)")
