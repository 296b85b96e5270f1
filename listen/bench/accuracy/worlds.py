"""Every world by itself, the worst first, against the bars; and constants fitted on all worlds but the one reported."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TypeVar

import msgspec

from listen.bench.accuracy.bars import ROUND_BARS, Bar, standing
from listen.bench.accuracy.contest import Part, parts
from listen.bench.accuracy.forecast import Forecast
from listen.bench.accuracy.measured import judge_world
from listen.bench.accuracy.scores import Scores, score
from listen.rate import Rate

T = TypeVar("T")


class WorldScores(msgspec.Struct, frozen=True, kw_only=True):
    """One world, scored."""

    name: str
    differs: str
    scores: Scores
    missed: tuple[str, ...]
    """Bars missed."""
    by_truth: tuple[Part, ...]


def worlds(rounds: int, seed: int, workers: int, kept_in: Path | None) -> tuple[WorldScores, ...]:
    """Judge rounds of every world; the one with most bars missed, then the least right of named, comes first."""
    from listen.lab.simulator.worlds import WORLDS

    found = [
        scored(name, world.differs, judge_world(name, rounds, seed, workers, kept_in)) for name, world in WORLDS.items()
    ]
    return tuple(sorted(found, key=lambda w: (-len(w.missed), w.scores.right.value or 0.0)))


def scored(name: str, differs: str, forecasts: Sequence[Forecast]) -> WorldScores:
    """Score one world's forecasts."""
    scores = score(forecasts)
    missed = tuple(b.name for b in ROUND_BARS if standing(b, scores) == "MISSED")
    by_truth = parts(forecasts, lambda f: f.truth_label)
    return WorldScores(name=name, differs=differs, scores=scores, missed=missed, by_truth=by_truth)


def leave_one_out(
    rounds: Mapping[str, Sequence[T]],
    candidates: Sequence[float],
    loss: Callable[[float, T], float],
) -> dict[str, tuple[float, float]]:
    """For each world, the constant of least loss on all others, and the loss it then has there.

    Parameters
    ----------
    rounds
        By world, whatever a round is to the loss (for example :class:`~listen.bench.accuracy.measured.Measured`).
    candidates
        Values to choose from.
    loss
        Of one round under one value, for example the log loss of its forecast.
    """
    table = {
        world: [sum(loss(c, r) for r in group) / len(group) for c in candidates] for world, group in rounds.items()
    }
    out = {}
    for world in table:
        others = [sum(row[i] for w, row in table.items() if w != world) for i in range(len(candidates))]
        best = others.index(min(others))
        out[world] = (candidates[best], table[world][best])
    return out


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
