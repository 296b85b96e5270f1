"""What a run of the bench does: which parts, in which order, all they found; and that in words and columns."""

import argparse
import json
import os
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cache
from pathlib import Path

import jinja2
import msgspec

from listen.bench.accuracy.contest import contest_archive, contest_drawn, worlds
from listen.bench.accuracy.cover import cover
from listen.bench.accuracy.detection import detection
from listen.bench.accuracy.scores import (
    COVERAGE_BAR,
    DEPTH_BAR_DB,
    FALSE_ALARM_FACTOR,
    ROUND_BARS,
    Bar,
    Figures,
    Scores,
    not_beaten,
    standing,
)
from listen.errors import UsageError
from listen.lab.simulator.shops import recorded_leaks
from listen.rate import Rate, exact_rate

SCHEMA = "hissway.accuracy/1"


def run(args: argparse.Namespace) -> int:
    """Measure and print; a missed bar is shown, not hidden, and is no error."""
    for folder in (args.noise, args.leaks, args.rounds):  # before minutes have gone into it
        if folder is not None and not folder.is_dir():
            raise UsageError(f"{folder}: no such folder; give one that holds recordings")
    args.workers = args.workers or os.cpu_count() or 1
    found = measure(args)
    sys.stdout.write(json.dumps(msgspec.to_builtins(found), allow_nan=False) + "\n" if args.json else words(found))
    return 0


def measure(args: argparse.Namespace) -> Figures:
    """Run the parts asked for.

    Raises UsageError: ``--only recorded`` without ``--noise``; ``--leaks`` with a folder that holds none.
    RoundError, ClipError: an archive or recording that cannot be read."""
    if args.only == "recorded" and args.noise is None:
        raise UsageError("--only recorded needs --noise DIR, the folder of background-*.flac")
    if args.leaks is not None and not recorded_leaks(args.leaks, "report"):
        raise UsageError(f"--leaks {args.leaks}: holds no hiss-*.flac for reported rounds; give another folder")
    found: Figures = {
        "schema": SCHEMA, "seed": args.seed, "contests": [], "detection": None, "cover": (), "worlds": ()
    }  # fmt: skip
    if args.rounds is not None:
        _say(f"scoring the archive {args.rounds}")
        archive = contest_archive(args.rounds, args.tune_rounds, args.seed, args.workers)
        return {**found, "contests": [archive]}
    if args.only in (None, "worlds"):
        noise = args.noise if args.only == "worlds" else None
        _say(f"{args.rounds_drawn} rounds of every world{' in recorded shops' if noise else ''}")
        found["worlds"] = worlds(args.rounds_drawn, args.seed, args.workers, args.cache, noise)
    shops: list[Path | None] = [None] if args.only in (None, "rounds") else []
    if args.noise is not None and args.only in (None, "rounds", "recorded"):
        shops.append(args.noise)
    for noise in shops:
        _say(f"{args.rounds_drawn} rounds over {'recordings' if noise else 'synthetic shops'}, then the peers' fit")
        sizes = args.rounds_drawn, args.tune_rounds, args.seed, args.workers
        found["contests"].append(contest_drawn(noise, args.leaks, *sizes))
    if args.only in (None, "detection"):
        _say("detection in steady noise")
        found["detection"] = detection(args.rounds_drawn, args.seed, args.workers)
    if args.only in (None, "coverage"):
        _say("cover of the intervals")
        found["cover"] = cover(args.rounds_drawn, args.noise, args.seed, args.workers)
    return found


def _say(what: str) -> None:
    sys.stderr.write(f"accuracy: {what}\n")
    sys.stderr.flush()


def words(found: Figures) -> str:
    """What was found, as tables (``tables.jinja``)."""
    tables = _tables().module
    parts = [("worlds", found["worlds"]), *(("contest", c) for c in found["contests"])]
    parts += [("detection", found["detection"]), ("cover", found["cover"])]
    return "\n\n".join(str(getattr(tables, name)(part)) for name, part in parts if part)


@cache
def _tables() -> jinja2.Template:
    made = jinja2.Environment(  # noqa: S701 - plain text
        loader=jinja2.PackageLoader("listen.bench.accuracy", ""),
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    told = (percent, bounded, across, shown, cells, wrong, standing, not_beaten, alarm_line, groups)
    made.globals |= {each.__name__: each for each in told}
    made.globals |= {"BARS": ROUND_BARS, "DEPTH_BAR_DB": DEPTH_BAR_DB, "FACTOR": FALSE_ALARM_FACTOR}
    return made.get_template("tables.jinja")


def percent(rate: Rate) -> str:
    return "-" if rate.value is None else f"{100 * rate.value:.1f}"


def bounded(rate: Rate) -> str:
    return "-" if rate.value is None else f"{percent(rate)} [{100 * rate.low95:.1f}-{100 * rate.high95:.1f}]"


def across(first: str, more: Iterable[str]) -> str:
    """A row with a column for each bar."""
    return f"{first:<22}" + "".join(f"{cell:>17}" for cell in more)


def shown(bar: Bar, scores: Scores) -> str:
    value = bar.figure(scores)
    if value is None:
        return "-"
    return f"{value:.3f}" if bar.name in ("Brier", "log loss", "ECE") else f"{100 * value:.1f} %"


def cells(scores: Scores) -> Iterator[str]:
    """By bar the figure, with ``!`` where it is missed."""
    for bar in ROUND_BARS:
        floor = f" ({scores.ece_floor:.3f})" if bar.name == "ECE" else ""
        yield shown(bar, scores) + floor + {"MISSED": "!", "met": " "}.get(standing(bar, scores), "")


def wrong(named: Mapping[str, int]) -> str:
    return ", ".join(f"{k} x{v}" for k, v in sorted(named.items(), key=lambda kv: (-kv[1], kv[0])))


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


def groups(rows: Sequence[Figures]) -> Iterator[tuple[str, Rate, str]]:
    """Cover by group of shops, and whether it meets the bar."""
    low, high = COVERAGE_BAR
    for group in dict.fromkeys(c["group"] for c in rows):
        rates = [c["both"] for c in rows if c["group"] == group]
        total = exact_rate(sum(r.hits for r in rates), sum(r.of for r in rates))
        word = "met" if low <= (total.value or 0.0) <= high else "MISSED"
        yield group, total, f"bar {100 * low:.0f}-{100 * high:.0f} %  {word}"
