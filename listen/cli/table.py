"""A round's result as a plain table, for people and for grep."""

from listen.judge.result import PointResult, RoundResult
from listen.trade.points import point
from listen.voice import verdicts
from listen.voice.text import plain

SHOW_PATHS_FROM = 0.005
"""Paths less probable than this are left out of the table."""


def round_table(result: RoundResult) -> str:
    head = f"{'point':<26}{'excess dB':>10}  {'95 % interval':<16}{'would see':>10}  {'':<4}"
    lines = [plain(result.round), "  " + head.rstrip()]
    lines += ["  " + _point_line(p) for p in result.points]
    # What is wrong with every clip of a walk is said once, with the points it holds for.
    where: dict[tuple[str, str], dict[str, None]] = {}
    for p in result.points:
        for f in p.flags:
            where.setdefault((f.flag, f.text), {})[point(p.point).words] = None
    lines += [f"    {flag} at {', '.join(at)}: {text}" for (flag, text), at in where.items()]
    odds = verdicts.odds((p.path, p.involved) for p in result.likeliest if p.involved >= SHOW_PATHS_FROM)
    lines += [*([f"  odds, alone or with others: {odds}"] if odds else []), f"  verdict: {result.verdict.text}"]
    lines += [f"  {sentence}" for sentence in result.learnt]
    if result.verdict.next:
        lines.append(f"  next: {result.verdict.next}")
    return "\n".join(lines)


def _point_line(p: PointResult) -> str:
    words = point(p.point).words
    if p.excess_db is None or p.excess_ci95_db is None:
        return f"{words:<26}{'-':>10}  {'not measured':<16}"
    low, high = p.excess_ci95_db
    heard = "hiss" if p.detected else "nothing"
    limit = "" if p.would_see_db is None else f"{p.would_see_db:.1f}"
    return f"{words:<26}{p.excess_db:>10.1f}  {f'{low:.1f} to {high:.1f}':<16}{limit:>10}  {heard}"
