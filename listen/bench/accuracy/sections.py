"""What a run of the bench does: which parts, in which order, all they found; and that in words and columns."""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

import msgspec

from listen.bench.accuracy.contest import Contest, Line, Part, WorldScores, contest_archive, contest_drawn, worlds
from listen.bench.accuracy.cover import Cover, cover
from listen.bench.accuracy.detection import Depth, Detection, detection
from listen.bench.accuracy.scores import (
    COVERAGE_BAR,
    DEPTH_BAR_DB,
    FALSE_ALARM_FACTOR,
    ROUND_BARS,
    Bar,
    Scores,
    not_beaten,
    standing,
)
from listen.errors import UsageError
from listen.lab.simulator.shops import recorded_leaks
from listen.rate import Rate, exact_rate

SCHEMA = "hissway.accuracy/1"


class Accuracy(msgspec.Struct, frozen=True, kw_only=True):
    schema: str = SCHEMA
    seed: int
    contests: tuple[Contest, ...] = ()
    detection: Detection | None = None
    cover: tuple[Cover, ...] = ()
    worlds: tuple[WorldScores, ...] = ()


def measure(args: argparse.Namespace) -> Accuracy:
    """Run the parts asked for.

    Raises UsageError: ``--only recorded`` without ``--noise``; ``--leaks`` with a folder that holds none.
    RoundError, ClipError: an archive or recording that cannot be read."""
    if args.only == "recorded" and args.noise is None:
        raise UsageError("--only recorded needs --noise DIR, the folder of background-*.flac")
    if args.leaks is not None and not recorded_leaks(args.leaks, "report"):
        raise UsageError(f"--leaks {args.leaks}: holds no hiss-*.flac for reported rounds; give another folder")
    if args.rounds is not None:
        _say(f"scoring the archive {args.rounds}")
        return Accuracy(
            seed=args.seed, contests=(contest_archive(args.rounds, args.tune_rounds, args.seed, args.workers),)
        )
    each: tuple[WorldScores, ...] = ()
    if args.only in (None, "worlds"):
        noise = args.noise if args.only == "worlds" else None
        _say(f"{args.rounds_drawn} rounds of every world{' in recorded shops' if noise else ''}")
        each = worlds(args.rounds_drawn, args.seed, args.workers, args.cache, noise)
    contests = []
    for noise in _backgrounds(args):
        _say(f"{args.rounds_drawn} rounds over {'recordings' if noise else 'synthetic shops'}, then the peers' fit")
        contests.append(contest_drawn(noise, args.leaks, args.rounds_drawn, args.tune_rounds, args.seed, args.workers))
    found = covered = None
    if args.only in (None, "detection"):
        _say("detection in steady noise")
        found = detection(args.rounds_drawn, args.seed, args.workers)
    if args.only in (None, "coverage"):
        _say("cover of the intervals")
        covered = cover(args.rounds_drawn, args.noise, args.seed, args.workers)
    return Accuracy(seed=args.seed, contests=tuple(contests), detection=found, cover=covered or (), worlds=each)


def _backgrounds(args: argparse.Namespace) -> list[Path | None]:
    """Sets of rounds asked for: None stands for the synthetic shops."""
    out: list[Path | None] = [None] if args.only in (None, "rounds") else []
    recorded = args.noise is not None and args.only in (None, "rounds", "recorded")
    return [*out, args.noise] if recorded else out


def _say(what: str) -> None:
    sys.stderr.write(f"accuracy: {what}\n")
    sys.stderr.flush()


def words(found: Accuracy) -> str:
    parts = [worlds_table(found.worlds)] if found.worlds else []
    parts += [contest_table(c) for c in found.contests]
    if found.detection is not None:
        parts.append(detection_table(found.detection))
    if found.cover:
        parts.append(cover_table(found.cover))
    return "\n\n".join(parts)


HEAD = f"{'':<36}{'right of answered %':>21}{'coverage':>9}{'false':>7}{'top':>6}{'sure':>6}"
HEAD += f"{'AUGRC':>7}{'Brier':>7}{'logloss':>8}{'ECE':>7}{'floor':>7}\n"


PEERS_NOTE = (
    "peers read the quiet and air clips; named at odds of 0.90 like ours, softmax at their best temperature\n\n"
)


def percent(rate: Rate) -> str:
    return "-" if rate.value is None else f"{100 * rate.value:.1f}"


def bounded(rate: Rate) -> str:
    return "-" if rate.value is None else f"{percent(rate)} [{100 * rate.low95:.1f}-{100 * rate.high95:.1f}]"


def _row(name: str, s: Scores) -> str:
    return (
        f"{name:<36}{bounded(s.right):>21}{percent(s.coverage):>9}{percent(s.false_calls):>7}{100 * s.top_right:>6.1f}"
        f"{100 * s.confidence:>6.1f}"
        f"{s.augrc:>7.3f}{s.brier:>7.3f}{s.log_loss:>8.3f}{s.ece:>7.3f}{s.ece_floor:>7.3f}\n"
    )


def contest_table(c: Contest) -> str:
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
    lines += [
        f"  {bar.name:<22}{_shown(bar, line.scores):>9}   bar {bar.limit:<16}{standing(bar, line.scores)}\n"
        for bar in ROUND_BARS
    ]
    for peer in peers:
        equal = not_beaten(line.scores, peer.scores)
        if equal:
            answering = f"answering {percent(peer.scores.coverage)} %"
            lines.append(f"  as good or better: {peer.name} ({answering}) on {', '.join(equal)}\n")
    return "".join(lines)


def _break_down(title: str, rows: Sequence[Part]) -> list[str]:
    out = [f"\n{title}:\n{'':<34}{'rounds':>7}{'right':>8}{'coverage':>9}{'top':>6}{'false':>7}  wrongly named\n"]
    out += [
        f"  {p.name:<32}{p.rounds:>7}{percent(p.right):>8}{percent(p.coverage):>9}{100 * p.top_right:>6.0f}"
        f"{percent(p.false_calls):>7}  {_wrong(p)}\n"
        for p in rows
    ]
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
            named, right = ("-" if r.value is None else f"{100 * r.value:.0f} %" for r in (p.coverage, p.right))
            wrong = f"  wrongly named: {_wrong(p)}" if p.named_wrong else ""
            out.append(f"  {p.name:<18}{p.rounds:>5} rounds, named {named:>5}, right {right:>5}{wrong}\n")
    return "".join(out)


def _shown(bar: Bar, scores: Scores) -> str:
    value = bar.figure(scores)
    if value is None:
        return "-"
    return f"{value:.3f}" if bar.name in ("Brier", "log loss", "ECE") else f"{100 * value:.1f} %"


def _cell(bar: Bar, scores: Scores) -> str:
    floor = f" ({scores.ece_floor:.3f})" if bar.name == "ECE" else ""
    return _shown(bar, scores) + floor + {"MISSED": "!", "met": " "}.get(standing(bar, scores), "")


def _wrong(p: Part) -> str:
    return ", ".join(f"{k} x{v}" for k, v in sorted(p.named_wrong.items(), key=lambda kv: (-kv[1], kv[0])))


def alarm_line(name: str, rate: Rate, stated: float) -> str:
    """False alarms of one kind of sound, beside what is stated."""
    value = rate.value or 0.0
    low, high = stated / FALSE_ALARM_FACTOR, stated * FALSE_ALARM_FACTOR
    word = "met" if low <= value <= high else "MISSED"
    if word == "MISSED" and rate.low95 <= high and rate.high95 >= low:
        word = "MISSED, but the bounds reach the bar"
    return (
        f"  {name:<36}{1e3 * value:6.2f} in 1000 [{1e3 * rate.low95:.2f}-{1e3 * rate.high95:.2f}]"
        f"  ({rate.hits} of {rate.of})  {word}\n"
    )


def _depth(d: Depth) -> str:
    if d.reached_db is None:
        return f"  {d.background:<12} limit {d.limit_db:6.2f} dB, reached: outside the levels tried  MISSED\n"
    loss = d.reached_db - d.limit_db
    word = "met" if loss <= DEPTH_BAR_DB else "MISSED"
    reached = f"reached {d.reached_db:6.2f} dB, loss {loss:5.2f} dB"
    return f"  {d.background:<12} limit {d.limit_db:6.2f} dB, {reached}  {word}\n"


def detection_table(d: Detection) -> str:
    out = [
        "detection in steady Gaussian noise, one quiet and one air clip of 4 s at 48 kHz, hiss of the noise's shape\n"
        f"hiss over background found 90 % of the time at a false alarm of {d.stated_false_alarm:g}; "
        f"bar: within {DEPTH_BAR_DB:.1f} dB of the limit\n"
    ]
    out += map(_depth, d.depths)
    out.append(
        f"\nfalse alarms, stated {1e3 * d.stated_false_alarm:g} in 1000; bar: within a factor {FALSE_ALARM_FACTOR:g}\n"
        f"(pairs drawn from {d.clips} independent clips a background; the bounds take the pairs as independent)\n"
    )
    out += [alarm_line(f"steady, {x.background}", x.false_alarm, d.stated_false_alarm) for x in d.depths]
    out += [alarm_line(f"drift, {name}", rate, d.stated_false_alarm) for name, rate in d.drifting.items()]
    return "".join(out)


def cover_table(rows: Sequence[Cover]) -> str:
    """Cover by shop, then by group with the bar."""
    out = ["cover of the 95 % intervals of excess, % [95 %]\n"]
    out.append(f"{'':<36}{'silent':>20}{'with hiss':>20}{'half width dB':>15}\n")
    out += [f"  {c.shop:<34}{bounded(c.silent):>20}{bounded(c.hissing):>20}{c.half_width_db:>15.2f}\n" for c in rows]
    low, high = COVERAGE_BAR
    for group in dict.fromkeys(c.group for c in rows):
        rates = [c.both for c in rows if c.group == group]
        total = exact_rate(sum(r.hits for r in rates), sum(r.of for r in rates))
        word = "met" if low <= (total.value or 0.0) <= high else "MISSED"
        out.append(f"  all {group:<30}{bounded(total):>20}   bar {100 * low:.0f}-{100 * high:.0f} %  {word}\n")
    return "".join(out)
