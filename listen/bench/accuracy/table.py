"""The contest in words and columns."""

from collections.abc import Sequence

from listen.bench.accuracy.bars import ROUND_BARS, not_beaten, standing
from listen.bench.accuracy.contest import Contest, Line, Part
from listen.bench.accuracy.scores import Scores
from listen.rate import Rate

HEAD = f"{'':<36}{'right of answered %':>21}{'coverage':>9}{'false':>7}{'top':>6}{'sure':>6}"
HEAD += f"{'AUGRC':>7}{'Brier':>7}{'logloss':>8}{'ECE':>7}{'floor':>7}\n"


PEERS_NOTE = (
    "peers read the quiet and air clips; named at odds of 0.90 like ours, softmax at their best temperature\n\n"
)


def percent(rate: Rate) -> str:
    """A rate in per cent; a dash of nothing."""
    return "-" if rate.value is None else f"{100 * rate.value:.1f}"


def bounded(rate: Rate) -> str:
    """A rate in per cent with its bounds."""
    return "-" if rate.value is None else f"{percent(rate)} [{100 * rate.low95:.1f}-{100 * rate.high95:.1f}]"


def _row(name: str, s: Scores) -> str:
    return (
        f"{name:<36}{bounded(s.right):>21}{percent(s.coverage):>9}{percent(s.false_calls):>7}{100 * s.top_right:>6.1f}"
        f"{100 * s.confidence:>6.1f}"
        f"{s.augrc:>7.3f}{s.brier:>7.3f}{s.log_loss:>8.3f}{s.ece:>7.3f}{s.ece_floor:>7.3f}\n"
    )


def contest_table(c: Contest) -> str:
    """All of one contest."""
    out = [f"{c.title}\n", f"peers fitted on {c.tune_rounds} rounds of {c.tuned_on}\n", PEERS_NOTE, HEAD]
    out += [_row(line.name, line.scores) for line in c.lines]
    scripted = [line for line in c.lines if line.scripted is not None]
    if scripted:
        out.append("\nas scripted, always answering:       right [95 %]          false calls on sound [95 %]\n")
        out += [_scripted(line) for line in scripted]
    out += [_bars(line, scripted) for line in c.lines if line.scripted is None]
    out += _break_down("by truth (without sound-cylinder clips)", c.by_truth)
    out += _break_down("by background (without sound-cylinder clips)", c.by_background)
    return "".join(out)


def _scripted(line: Line) -> str:
    s = line.scripted
    assert s is not None
    return f"{line.name:<36}{bounded(s.right):>19}{bounded(s.false_calls):>24}\n"


def _bars(line: Line, peers: Sequence[Line]) -> str:
    lines = [f"\nbars, {line.name}:\n"]
    for bar in ROUND_BARS:
        value = bar.figure(line.scores)
        shown = "-" if value is None else f"{value:.3f}" if bar.name in ("Brier", "ECE") else f"{100 * value:.1f} %"
        lines.append(f"  {bar.name:<22}{shown:>9}   bar {bar.limit:<16}{standing(bar, line.scores)}\n")
    for peer in peers:
        equal = not_beaten(line.scores, peer.scores)
        if equal:
            answering = f"answering {percent(peer.scores.coverage)} %"
            lines.append(f"  as good or better: {peer.name} ({answering}) on {', '.join(equal)}\n")
    return "".join(lines)


def _break_down(title: str, rows: Sequence[Part]) -> list[str]:
    out = [f"\n{title}:\n{'':<34}{'rounds':>7}{'right':>8}{'coverage':>9}{'top':>6}{'false':>7}  wrongly named\n"]
    for p in rows:
        wrong = ", ".join(f"{k} x{v}" for k, v in sorted(p.named_wrong.items(), key=lambda kv: (-kv[1], kv[0])))
        out.append(
            f"  {p.name:<32}{p.rounds:>7}{percent(p.right):>8}{percent(p.coverage):>9}{100 * p.top_right:>6.0f}"
            f"{percent(p.false_calls):>7}  {wrong}\n"
        )
    return out
