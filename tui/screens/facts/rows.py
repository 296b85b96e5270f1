"""The lines of the list of facts: group heads, answers before the words, and what a fact speaks for."""

from textual.content import Content
from textual.widgets.option_list import Option

from listen.jobs.answers import NO, YES, facts_here, in_words
from listen.jobs.job import Job
from listen.trade.causes import causes, sources
from listen.trade.facts import GROUP_WORDS, Fact, moves
from listen.voice.text import plain

ANSWER = 12
"""Columns of a short answer before the words; a longer one stands behind them."""
MOST_CAUSES = 4


def options(job: Job, wanted: str) -> list[Option]:
    """The facts that hold every word wanted, under the heads of their groups."""
    lines: list[Option] = []
    group = ""
    for f in facts_here(job):
        if not _found(f, in_words(job, f), wanted):
            continue
        if f.group != group:
            group = f.group
            lines.append(Option(Content.styled(GROUP_WORDS[f.group], "bold $accent"), disabled=True))
        lines.append(Option(line(job, f), id=f.id))
    return lines


def line(job: Job, f: Fact) -> Content:
    """One fact: its answer, then its words."""
    held = in_words(job, f)
    pen = "bold $success" if held in (YES, NO) or held else "$secondary"
    short = held if len(held) <= ANSWER else "see behind"
    more = f": {plain(held, 60)}" if held and short != held else ""
    return Content.assemble((f"  {plain(short or '–'):<{ANSWER}} ", pen), plain(f.words, 120), (more, pen))


def about(f: Fact) -> Content:
    """What a fact speaks for, and where that comes from."""
    named = [causes()[c].words for c in moves(f)]
    more = f" and {len(named) - MOST_CAUSES} more" if len(named) > MOST_CAUSES else ""
    if named:
        speaks = f"Speaks for: {', '.join(named[:MOST_CAUSES])}{more}."
    elif f.note:
        speaks = f"Weighs nothing: {f.note}"
    else:
        speaks = "Weighs nothing by itself: the readings are judged by it."
    told = "; ".join(sources()[s].words for s in f.sources)
    return Content.assemble(
        (plain(f.words, 160), "bold"), "\n", plain(speaks, 300), "\n", (f"Source: {told}", "$secondary")
    )


def _found(f: Fact, held: str, wanted: str) -> bool:
    text = f"{GROUP_WORDS[f.group]} {f.words} {held} {f.id}".casefold()
    return all(word in text for word in wanted.casefold().split())
