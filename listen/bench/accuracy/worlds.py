"""Every world by itself, the worst first, then all together, against the bars."""

from collections.abc import Sequence
from pathlib import Path

import msgspec

from listen.bench.accuracy.contest import Part, parts
from listen.bench.accuracy.measured import judge_world
from listen.bench.accuracy.scores import ROUND_BARS, Bar, Forecast, Scores, score, standing
from listen.rate import Rate


class WorldScores(msgspec.Struct, frozen=True, kw_only=True):
    """One world, scored."""

    name: str
    differs: str
    scores: Scores
    missed: tuple[str, ...]
    by_truth: tuple[Part, ...]


ALL = "all together"


def worlds(
    rounds: int, seed: int, workers: int, kept_in: Path | None, noise: Path | None = None
) -> tuple[WorldScores, ...]:
    """Judge rounds of every world; the one with most bars missed, then the least right of named, comes first.

    ``noise`` is a folder of recordings in whose shops they are drawn. All worlds together come last.
    """
    from listen.lab.simulator.worlds import WORLDS

    forecasts_of = {name: judge_world(name, rounds, seed, workers, kept_in, noise=noise) for name in WORLDS}
    found = [scored(name, WORLDS[name].differs, forecasts) for name, forecasts in forecasts_of.items()]
    found.sort(key=lambda w: (-len(w.missed), w.scores.right.value or 0.0))
    return *found, scored(ALL, "All worlds, each as often.", [f for every in forecasts_of.values() for f in every])


def scored(name: str, differs: str, forecasts: Sequence[Forecast]) -> WorldScores:
    scores = score(forecasts)
    missed = tuple(b.name for b in ROUND_BARS if standing(b, scores) == "MISSED")
    by_truth = parts(forecasts, lambda f: f.truth_label)
    return WorldScores(name=name, differs=differs, scores=scores, missed=missed, by_truth=by_truth)


def worlds_table(found: Sequence[WorldScores]) -> str:
    """Figures by world, ``!`` beside a missed bar; then what was wrongly named."""
    out = [f"{found[0].scores.rounds} rounds of every world, the worst first (! misses its bar)\n", f"{'':<22}"]
    out += [f"{b.name:>17}" for b in ROUND_BARS] + [f"\n{'bar':<22}"] + [f"{b.limit:>17}" for b in ROUND_BARS] + ["\n"]
    for w in found:
        out.append(f"{w.name:<22}" + "".join(f"{_cell(b, w.scores):>17}" for b in ROUND_BARS) + "\n")
    for w in found:
        out.append(f"\n{w.name}: {w.differs}\n")
        for p in w.by_truth:
            wrong = ", ".join(f"{k} x{v}" for k, v in sorted(p.named_wrong.items(), key=lambda kv: (-kv[1], kv[0])))
            out.append(
                f"  {p.name:<18}{p.rounds:>5} rounds, named {_percent(p.coverage):>5}, right {_percent(p.right):>5}"
                f"{'  wrongly named: ' + wrong if wrong else ''}\n"
            )
    return "".join(out)


def _percent(rate: Rate) -> str:
    return "-" if rate.value is None else f"{100 * rate.value:.0f} %"


def _cell(bar: Bar, scores: Scores) -> str:
    value = bar.figure(scores)
    if value is None:
        return "-"
    shown = f"{value:.3f}" if bar.name in ("Brier", "log loss", "ECE") else f"{100 * value:.1f} %"
    if bar.name == "ECE":
        shown += f" ({scores.ece_floor:.3f})"
    return shown + ("!" if standing(bar, scores) == "MISSED" else " ")
