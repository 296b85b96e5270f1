"""Facts: one list of all that may be told, searched and answered line by line; no line has code of its own."""

from functools import partial

from textual import on
from textual.binding import Binding
from textual.content import Content
from textual.widgets import Input, Static

from listen.jobs.answers import NO, OPEN, YES, answer, answer_events, facts_here, in_words, type_in, unit_here
from listen.jobs.job import Job
from listen.trade.causes import causes, sources
from listen.trade.facts import GROUP_WORDS, Fact, core, fact, moves
from listen.voice.text import plain
from tui.screens.base import BayScreen, asks
from tui.screens.dialog import OneLineScreen
from tui.widgets.field import Field
from tui.widgets.lines import Lines

FIND = "find: any word of a fact or its group"
NEXT = {OPEN: YES, YES: NO, NO: OPEN}
"""What Enter makes of an answer."""


class FactsScreen(BayScreen[None]):
    """The list, a line to find in it, and what the fact one is on speaks for."""

    HERE = "facts"
    CSS_PATH = "facts.tcss"
    BODY = (
        partial(Field, placeholder=FIND, id="find", classes="find", compact=True),
        Lines,
        partial(Static, id="about"),
    )
    AUTO_FOCUS = "Lines"
    BINDINGS = [
        Binding("enter", "choose", "Answer", priority=True),
        Binding("slash", "find", "Find", key_display="/"),
        Binding("n", "no_to_the_rest", "No to the usual questions"),
    ]

    def show_job(self, job: Job) -> None:
        wanted = self.query_one("#find", Field).value
        self.query_one(Lines).put(options(job, wanted, self.size.width - BESIDE))

    on_resize = BayScreen.show_again

    @on(Lines.OptionHighlighted)
    def _moved(self, event: Lines.OptionHighlighted) -> None:
        if event.option.id:
            self.query_one("#about", Static).update(about(fact(event.option.id)))

    def action_find(self) -> None:
        self.query_one("#find").focus()

    def action_back(self) -> None:
        """Out of the find line; else out of the screen."""
        find = self.query_one("#find", Field)
        if self.focused is find:
            find.value = ""
            self.query_one(Lines).focus()
        else:
            super().action_back()

    @on(Input.Changed)
    def _wanted(self) -> None:
        self.show_again()

    def action_choose(self) -> None:
        """Answer the fact one is on; from the find line to the list."""
        facts = self.query_one(Lines)
        if self.focused is facts:
            facts.action_select()
        else:
            facts.focus()

    @on(Lines.OptionSelected)
    @asks
    async def _chosen(self, event: Lines.OptionSelected) -> None:
        f = fact(event.option.id or "")
        if f.scope == "engine":
            await self._answered(f, None)
            return
        at, cylinders = "", self.job.engine.cylinders
        while True:  # Esc goes back once all is told
            lines = [(str(n), f"cylinder {n}", answer(self.job, f, n) or "–") for n in cylinders]
            chosen = await self.pick(f"{f.words}: on which cylinders?", lines, at, keyed=max(cylinders) < 10)
            if chosen is None:
                return
            at = chosen
            await self._answered(f, int(at))

    async def _answered(self, f: Fact, n: int | None) -> None:
        """A statement goes from not asked to yes, to no and back; a figure or groups are typed."""
        job = self.job
        if f.answer == "yes-no":
            given = NEXT[answer(job, f, n)]
            # where it is told at intake the engine is so or is not so: not asked is no answer
            self.write(*answer_events(job, f, YES if f.sets and given == OPEN else given, n))
            return
        title = f.words + (f", cylinder {n}" if n is not None else "")
        unit = unit_here(job, f)
        how = f"In {unit}. " if unit else ""
        how += "Enter keeps it, nothing typed takes the answer back, Esc changes nothing."
        held = answer(job, f, n) if f.answer == "groups" else answer(job, f, n).partition(" ")[0]

        def take(text: str) -> None:
            self.bay.write(*type_in(self.job, f, text, n))

        await self.answer(OneLineScreen(title, held, how=how, may_be_empty=True, most=60, take=take))

    def action_no_to_the_rest(self) -> None:
        """Answer with no what every complaint is asked and has no answer yet."""
        open_ = [fact(id) for id in sorted(core()) if answer(self.job, fact(id)) == OPEN]
        self.write(*(e for f in open_ for e in answer_events(self.job, f, NO)))
        self.tell(f"{len(open_)} questions answered with no.")


BESIDE, ANSWER, BEFORE = 7, 12, 15
"""Columns beside the lines, of a short answer before the words (a longer one stands behind them), and before these."""
MOST_CAUSES = 4


def options(job: Job, wanted: str, columns: int) -> list[tuple[str, Content]]:
    """The facts that hold every word wanted, under the heads of their groups."""
    lines: list[tuple[str, Content]] = []
    group = ""
    for f in facts_here(job):
        if not _found(f, in_words(job, f), wanted):
            continue
        if f.group != group:
            group = f.group
            lines.append(("", Content.styled(GROUP_WORDS[f.group], "bold $accent")))
        lines.append((f.id, line(job, f, columns)))
    return lines


def line(job: Job, f: Fact, columns: int) -> Content:
    """One fact: its answer, then its words, which are broken below where they begin."""
    held = in_words(job, f)
    pen = "bold $success" if held else "$secondary"
    short = held if len(held) <= ANSWER else "see behind"
    more = f": {plain(held, 60)}" if held and short != held else ""
    first, *rest = Content.assemble(plain(f.words, 120), (more, pen)).wrap(columns - BEFORE)
    head = Content.assemble((f"  {plain(short or '–'):<{ANSWER}} ", pen), first)
    return Content("\n").join([head, *(part.pad_left(BEFORE) for part in rest)])


def about(f: Fact) -> Content:
    """What a fact speaks for, and where that comes from."""
    named = [causes()[c].words for c in moves(f)]
    more = f" and {len(named) - MOST_CAUSES} more" if len(named) > MOST_CAUSES else ""
    if named:
        speaks = f"Speaks for: {'; '.join(named[:MOST_CAUSES])}{more}."
    elif f.note:
        speaks = f"Weighs nothing: {f.note}"
    else:
        speaks = "Weighs nothing by itself: the readings are judged by it."
    source = "; ".join(sources()[s].words for s in f.sources)
    return Content.assemble(
        (plain(f.words, 160), "bold"), "\n", plain(speaks, 300), "\n", (f"Source: {source}", "$secondary")
    )


def _found(f: Fact, held: str, wanted: str) -> bool:
    text = f"{GROUP_WORDS[f.group]} {f.words} {held} {f.id}".casefold()
    return all(word in text for word in wanted.casefold().split())
