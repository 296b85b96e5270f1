"""Calls and hit rates as lines of words and shares to be drawn; real engines and simulated ones are told apart."""

from textual.content import Content

from listen.jobs.hit_rate import Decided, HitRate, ScoredCall
from listen.rate import Rate
from listen.voice import figures, names
from listen.voice.text import plain
from tui.content import shown
from tui.widgets.shares import Share

GLYPHS = {True: ("✓ right", "$success"), False: ("× wrong", "bold $error")}
EMPTY = """No teardown is recorded yet, so nothing can be counted.

Once an engine is open: open its job, stand on the cylinder, press f and tick what was found. What ear and program had \
said before is then held against it here."""


def shares(rates: tuple[HitRate, ...]) -> tuple[Share, ...]:
    """A line a source of calls, and below it a line for each class of sureness stated."""
    rows: list[Share] = []
    for found in rates:
        rows.append(_share(names.BY[found.by], found.rate, heading=True))
        rows += [_share(f"  {figures.share(c.mean_sure)} sure", c.rate, sureness=c.mean_sure) for c in found.classes]
    return tuple(rows)


def _share(words: str, rate: Rate, *, sureness: float | None = None, heading: bool = False) -> Share:
    low, high = rate.low95, rate.high95
    return Share(words, rate.value or 0.0, rate.hits, rate.of, low, high, sureness=sureness, heading=heading)


def heading(scored: tuple[ScoredCall, ...], simulated: bool) -> Content:
    torn = len({(s.job, s.cylinder) for s in scored})
    what = "simulated engines, which say nothing about this shop" if simulated else "engines of this shop"
    opened = f"{torn} cylinder{'' if torn == 1 else 's'} whose teardown is known"
    return Content.assemble((f"{plain(what)[:1].upper()}{what[1:]}: ", "bold $accent"), opened)


def listed(scored: tuple[ScoredCall, ...]) -> Content:
    """Every call with its truth, the wrong ones first: they are what there is to learn from."""
    lines = [_call(s) for s in sorted(scored, key=lambda s: (s.right, s.title, s.cylinder, s.by))]
    return Content("\n").join([shown("Every call, the wrong ones first", "$accent"), *lines])


def decisions(score: tuple[Decided, ...]) -> Content:
    """Whether supervisors or the program were right, a line a person; empty where no decision met a teardown."""
    if not score:
        return Content("")
    lines = [
        shown(
            f"{plain(d.name, 40) or 'unnamed'}: agreed {d.agreed}, right {d.agreed_right}; overruled {d.overruled}, "
            f"of these the person alone right {d.person_right}, the program alone right {d.program_right}"
        )
        for d in score
    ]
    return Content("\n").join([shown("Decisions against teardowns", "$accent"), *lines])


def _call(call: ScoredCall) -> Content:
    word, pen = GLYPHS[call.right]
    who = names.BY[call.by] if call.by == "tool" or not call.name else plain(call.name, 40)
    told = f"{who} said {names.by_ear(call.paths, call.sure)}; it was {names.paths(call.truth)}"
    return Content.assemble(
        (word, pen), f"  {told}  ", (f"{plain(call.title, 60)}, cylinder {call.cylinder}", "$secondary")
    )
