"""How fast an archive is ranked: against the limit that no reader can beat, against the scripts a user would otherwise
write, over workers, and whether memory stays flat.

Each contender takes one loose round's folder and returns a number, so that no work can be left out unnoticed.
"""

import argparse
import json
import os
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from itertools import cycle, islice
from multiprocessing import get_context
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from listen.judge.assumptions import BASE
from listen.judge.next_best import next_best
from listen.judge.posterior import posterior
from listen.lab.simulator.draw import draw
from listen.lab.simulator.render import write_round
from listen.lab.simulator.worlds.world import Wishes
from listen.rounds import evaluate as evaluation
from listen.rounds.loose import read_folder
from listen.rounds.weigh import weigh
from listen.trade.points import Kind

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
    return evaluation.evaluate(read_folder(folder)).verdict.probability


def usual_assumptions(folder: Path) -> float:
    """The same under the usual set of assumptions alone, without the range over the others."""
    round_ = read_folder(folder)
    evidence = weigh(evaluation.measure(round_), round_.facts).evidence
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
    wishes = Wishes(points=POINTS, seconds=SECONDS, takes=(Kind.QUIET, Kind.AIR, Kind.QUIET), rate_hz=48_000)
    made = [
        write_round(draw(np.random.default_rng([seed, n]), "report", wishes=wishes), root / f"round-{n}")
        for n in range(min(rounds, SCENES))
    ]
    return list(islice(cycle(made), rounds))


def sound_files(folder: Path) -> list[Path]:
    return sorted(p for p in folder.iterdir() if p.suffix == ".flac")


WARM_UP_ROUNDS = 3
"""Judged before memory is looked at: imports, caches and pools fill in these."""


def run(args: argparse.Namespace) -> int:
    with tempfile.TemporaryDirectory(prefix="hissway-speed-") as root:
        found = measure(Path(root), args.rounds, args.passes, args.workers or os.cpu_count() or 1, args.seed)
    sys.stdout.write(json.dumps(found) + "\n" if args.json else table(found))
    return 0


def measure(root: Path, rounds: int, passes: int, workers: int, seed: int) -> dict[str, Any]:
    """Time everything on a fresh archive under ``root``."""
    folders = make_archive(root, rounds, seed)
    # Each in a fresh process: what this one has imported or still holds must not count.
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as alone:
        seconds = alone.submit(_time_all, folders, passes).result()
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as alone:
        memory = alone.submit(_memory_over, folders).result()
    together = _time_workers(folders, passes, workers)
    limit_s, (_, ours_s) = seconds[0][0], seconds[1]
    return {
        "rounds": rounds,
        "clips_a_round": len(sound_files(folders[0])),
        # Processor time, best of the passes: what else the machine does hardly counts. The bar is how many times the
        # limit's time it may take.
        "timings": [
            {"name": c.name, "seconds_a_round": s, "times_limit": s / limit_s, "bar": c.bar}
            for c, (s, _) in zip(CONTENDERS, seconds, strict=True)
        ],
        "workers": workers,
        # Wall time a round over all workers.
        "seconds_over_workers": together,
        "speed_up": ours_s / together,
        # Resident after the warm-up and at the end of the archive.
        "memory_mb": memory,
    }


def _time_all(folders: list[Path], passes: int) -> list[tuple[float, float]]:
    """Best processor and wall seconds a round of every contender, in a process of its own; passes take turns."""
    best = [(float("inf"), float("inf"))] * len(CONTENDERS)
    for contender in CONTENDERS:
        contender.run(folders[0])  # imports and caches are not what is measured
    for _ in range(passes):
        for i, contender in enumerate(CONTENDERS):
            began = time.process_time(), time.perf_counter()
            for folder in folders:
                contender.run(folder)
            took = time.process_time() - began[0], time.perf_counter() - began[1]
            best[i] = min(best[i][0], took[0] / len(folders)), min(best[i][1], took[1] / len(folders))
    return best


def _memory_over(folders: list[Path]) -> tuple[float, float]:
    """Resident megabytes after the warm-up and after the whole archive."""
    for folder in folders[:WARM_UP_ROUNDS]:
        ours(folder)
    warm = resident_mb()
    for folder in folders[WARM_UP_ROUNDS:]:
        ours(folder)
    return warm, resident_mb()


def resident_mb() -> float:
    """Memory of this process in megabytes: resident now where /proc tells it, else the highest so far; 0 on Windows."""
    if sys.platform == "win32":
        return 0.0
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE") / 1e6
    except (OSError, ValueError):
        import resource

        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1e6 if sys.platform == "darwin" else 1e3)


def _time_workers(folders: list[Path], passes: int, workers: int) -> float:
    """Best wall seconds a round over ``workers`` processes that are already warm."""
    from joblib import Parallel, delayed

    best = float("inf")
    with Parallel(n_jobs=workers) as pool:
        # Several jobs a process, so that each gets one and has its imports behind it.
        pool(delayed(ours)(folders[0]) for _ in range(4 * workers))
        for _ in range(passes):
            began = time.perf_counter()
            pool(delayed(ours)(folder) for folder in folders)
            best = min(best, (time.perf_counter() - began) / len(folders))
    return best


def table(found: dict[str, Any]) -> str:
    timed = "  {name:<36} {ms:8.1f} ms a round  {times_limit:5.2f} x limit"
    barred = "bar of {name}: at most {bar:.1f} x limit; {word} ({times_limit:.2f})"
    rows = [{**t, "ms": 1000 * t["seconds_a_round"]} for t in found["timings"]]
    bars = [{**t, "word": "met" if t["times_limit"] <= t["bar"] else "missed"} for t in rows if t["bar"] is not None]
    warm, end = found["memory_mb"]
    over = "over {workers} workers: {ms:.1f} ms a round, {speed_up:.2f} times as fast as one"
    lines = [
        "{rounds} rounds of {clips_a_round} clips, one core, best pass:".format(**found),
        *(timed.format(**row) for row in rows),
        *(barred.format(**row) for row in bars),
        over.format(ms=1000 * found["seconds_over_workers"], **found),
        f"memory: {warm:.0f} MB after {WARM_UP_ROUNDS} rounds, {end:.0f} MB after {found['rounds']}",
    ]
    return "\n".join(lines) + "\n"
