"""Who is timed: our judging, the limit no reader can beat, and the scripts a user would otherwise write.

Each takes one loose round's folder and returns a number, so that no work can be left out unnoticed.
"""

from collections.abc import Callable
from itertools import cycle, islice
from pathlib import Path
from typing import NamedTuple

import numpy as np

FRAME, HOP = 2048, 1024


def limit(folder: Path) -> float:
    """Decode every clip and pass once through a real FFT over half-overlapped frames: less cannot be done."""
    import soundfile

    total = 0.0
    for file in sound_files(folder):
        samples, _ = soundfile.read(file, dtype="float32")
        frames = np.lib.stride_tricks.sliding_window_view(samples, FRAME)[::HOP]
        total += float(np.abs(np.fft.rfft(frames, axis=1)[0, 1]))
    return total


def ours(folder: Path) -> float:
    """Read and judge the round: excess, bubbles, flags, odds, verdict, next recording."""
    from listen.rounds.evaluate import evaluate
    from listen.rounds.loose import read_folder

    return evaluate(read_folder(folder)).verdict.probability


def usual_assumptions(folder: Path) -> float:
    """The same under the usual set of assumptions alone, without the range over the others."""
    from listen.judge.assumptions import BASE
    from listen.judge.next_best import next_best
    from listen.judge.posterior import posterior
    from listen.rounds.evaluate import measure
    from listen.rounds.loose import read_folder
    from listen.rounds.weigh import weigh

    round_ = read_folder(folder)
    evidence = weigh(measure(round_), round_.facts).evidence
    odds = posterior(evidence, (BASE,))
    best = next_best(evidence, odds)
    return float(odds.probability.max()) + (best.seconds if best else 0.0)


def welch_script(folder: Path) -> float:
    """SciPy script: Welch spectrum of each clip with medians, sum from 2 to 16 kHz."""
    import soundfile
    from scipy.signal import welch

    total = 0.0
    for file in sound_files(folder):
        samples, rate_hz = soundfile.read(file, dtype="float32")
        freq, power = welch(samples, rate_hz, nperseg=FRAME, average="median")
        total += float(power[(freq >= 2_000) & (freq <= 16_000)].sum())
    return total


def librosa_script(folder: Path) -> float:
    """Script with librosa's features: level, flatness, centroid and mel bands of each clip at its own rate."""
    import librosa

    total = 0.0
    for file in sound_files(folder):
        samples, rate_hz = librosa.load(file, sr=None)
        magnitude = np.abs(librosa.stft(samples, n_fft=FRAME, hop_length=HOP))
        mel = librosa.feature.melspectrogram(S=magnitude**2, sr=rate_hz)
        total += float(librosa.feature.rms(S=magnitude, frame_length=FRAME).mean())
        total += float(librosa.feature.spectral_flatness(S=magnitude).mean())
        total += float(librosa.feature.spectral_centroid(S=magnitude, sr=rate_hz).mean())
        total += float(librosa.power_to_db(mel, top_db=None).mean())
    return total


class Contender(NamedTuple):
    """A name for the table, what runs, and how many times the limit's time it may take."""

    name: str
    run: Callable[[Path], float]
    bar: float | None = None


CONTENDERS = (
    Contender("limit: decode and one FFT pass", limit),
    Contender("hissway rank", ours, 3.0),
    Contender("hissway, usual assumptions only", usual_assumptions, 2.0),
    Contender("SciPy script, Welch per clip", welch_script),
    Contender("librosa script, features per clip", librosa_script),
)


SCENES = 6
"""Rounds rendered; more would measure the renderer. Every round is read and judged anew, however often it is there."""
SECONDS = 4.0
POINTS = ("intake", "tailpipe", "oil-filler", "radiator")


def make_archive(root: Path, rounds: int, seed: int) -> list[Path]:
    """``rounds`` loose rounds of four points with three takes of 4 s at 48 kHz (quiet, air, quiet), the same again and
    again beyond the first."""
    from listen.lab.simulator.draw import draw
    from listen.lab.simulator.render import write_round
    from listen.lab.simulator.worlds.world import Wishes
    from listen.trade.points import Kind

    wishes = Wishes(points=POINTS, seconds=SECONDS, takes=(Kind.QUIET, Kind.AIR, Kind.QUIET), rate_hz=48_000)
    made = [
        write_round(draw(np.random.default_rng([seed, n]), "report", wishes=wishes), root / f"round-{n}")
        for n in range(min(rounds, SCENES))
    ]
    return list(islice(cycle(made), rounds))


def sound_files(folder: Path) -> list[Path]:
    return sorted(p for p in folder.iterdir() if p.suffix == ".flac")
