"""Page: the ledger of a cylinder or of the job, and what can be done with each of its lines."""

from functools import partial

import msgspec
from textual import on
from textual.binding import Binding
from textual.content import Content
from textual.widgets import Static

from listen.jobs import events as ev
from listen.jobs.event_words import SECTIONS
from listen.jobs.job import Job, RoundRecord
from listen.jobs.ledger import Line, bring_back, ledger, take_back
from listen.jobs.standing import latest_round
from listen.jobs.walk import round_points
from listen.voice.figures import as_read
from listen.voice.text import plain
from listen.voice.times import moment
from tui.content import shown
from tui.screens.ask_before_change import rounds_touched, write_asking
from tui.screens.base import BayScreen, asks, made
from tui.screens.calls import answered, calls, said
from tui.screens.dialog import OneLineScreen
from tui.screens.figures import figure_asked
from tui.widgets.lines import Lines

SIGNS = {
    "stands": ("●", "$foreground"),
    "replaced": ("↺", "$secondary"),
    "taken-back": ("×", "$secondary"),
    "left-out": ("–", "$secondary"),
    "due": ("○", "$warning"),
}
STATES = {"stands": "", "replaced": "replaced", "taken-back": "taken back", "left-out": "", "due": "due"}
WHEN, YEAR, DAY = 16, 5, 11
"""Columns of date and time, of the year in it, and of the day, which are left out where there is little room."""
WIDE, NARROW, HEADING, BESIDE, LEAST = 100, 70, 19, 3, 12
"""Columns from which there is room; below which a heading has a line of its own; of the headings; of the list's edge
and scroll bar; of the words at least."""
INTAKE = [
    ("engine", "engine and units", "layout, numbering, firing order, points, unit of pressure"),
    ("card", "job card", "title, complaint, customer, registration ..."),
]


class PageScreen(BayScreen[None]):
    """A line an event and a line a step that is due; the highlighted one in full below."""

    SHOWS_NUMBERS = "job"
    CSS_PATH = "page.tcss"
    BODY = (Lines, partial(Static, id="here"))
    AUTO_FOCUS = "Lines"
    BINDINGS = [
        Binding("enter", "open", "Open or correct", priority=True),
        Binding("backspace,delete", "turn", "Take back / bring back", key_display="Bksp"),
        Binding("n", "note", "Note"),
        Binding("r", "round", "Go on with this round"),
        Binding("s", "counts", "Set round aside or back"),
    ]

    def __init__(self, cylinder: int | None = None) -> None:
        super().__init__()
        self.cylinder = cylinder
        self.lines: dict[str, Line] = {}

    def way(self) -> tuple[str, ...]:
        what = "the job, as told at intake" if self.cylinder is None else f"cylinder {self.cylinder}, all of it"
        return (self.job.title, what)

    def show_job(self, job: Job) -> None:
        rows: list[tuple[str, Content]] = []
        self.lines = {}
        counts = latest_round(job, self.cylinder) if self.cylinder is not None else None
        for part in ledger(self.opened.chain.events(), job, self.cylinder):
            rows.append(("", _round_head(part.record, counts, "the job" if counts is None else "beside its rounds")))
            before = ""
            for line in part.lines:
                self.lines[line.id] = line
                heading = SECTIONS[line.section] if line.section != before else ""
                before = line.section
                if heading and self.size.width < NARROW:
                    rows.append(("", shown(f" {heading}", "$secondary")))
                    heading = ""
                rows.append((line.id, _row(line, heading, self.size.width)))
        self.query_one(Lines).put(rows)
        self._here()

    on_resize = BayScreen.show_again

    def line(self) -> Line | None:
        return self.lines.get(self.query_one(Lines).here)

    @on(Lines.OptionHighlighted)
    def _here(self) -> None:
        line = self.line()
        self.query_one("#here", Static).update(_in_full(line) if line else shown("Nothing here yet.", "$secondary"))
        self.refresh_bindings()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        line = self.line() if self.is_mounted and self.query(Lines) else None
        if action == "turn":
            return True if line and (line.may_be_taken_back or line.may_come_back) else None
        if action in ("round", "counts"):
            return True if line and line.round_id else None
        return True

    @asks
    async def action_turn(self) -> None:
        line = self.line()
        if line is None or not (line.may_be_taken_back or line.may_come_back):
            return
        back = line.may_be_taken_back
        verb = "Taking back" if back else "Bringing back"
        event = take_back(line, "on the page") if back else bring_back(line, "on the page")
        touched = rounds_touched(self.job, line.round_id, line.cylinder if self.cylinder is not None else None)
        # Nothing was judged by a note or a call: nobody is asked before a note goes, of a call only what was signed.
        if line.kind in ("note-added", "by-ear-called"):
            touched = tuple(r for r in touched if r.signed and line.kind != "note-added")
        await write_asking(self, touched, f"{verb}: {line.words}", event)

    @asks
    async def action_open(self) -> None:
        if (line := self.line()) is None:
            return
        if isinstance(line.payload, ev.ReadingEntered):
            await self._correct(line, line.payload)
        elif isinstance(was := line.payload, ev.NoteAdded):
            text = await self.answer(OneLineScreen("The note", was.text))
            # Two events in one write: the old note never stands beside the new one.
            if text is not None and text != was.text:
                self.write(take_back(line, "written anew"), msgspec.structs.replace(was, text=text))
        elif isinstance(was := line.payload, ev.ByEarCalled) and was.role == "tech" and line.may_be_taken_back:
            await self._call_anew(line, was)
        elif isinstance(line.payload, ev.CautionAcknowledged):
            self.show("cautions")
        elif line.section == "intake":
            await self._correct_intake()
        elif line.round_id is not None:
            self._open_round(line, line.round_id)

    def _open_round(self, line: Line, round_id: str) -> None:
        record, payload = self.job.round(round_id), line.payload
        numbers = record.call() is not None or "call" in record.steps_left_out
        if isinstance(payload, ev.ClipKept) and numbers:
            self.show("evidence", round_id, payload.point)
        elif isinstance(payload, ev.Judged):
            self.show("verdict", round_id)
        elif isinstance(payload, ev.ByEarCalled | ev.Confirmed | ev.Overruled | ev.SentBack | ev.Signed):
            self.show("confirm", round_id)
        else:
            self.show("round", round_id)

    async def _correct_intake(self) -> None:
        job, what = self.job, await self.pick("What is to be corrected?", INTAKE)
        if what is not None:
            changes = await self.answer(made("card" if what == "card" else "new-job", job))
            # Rounds are judged by the engine; the card's words only stand above what was signed.
            touched = [r for r in rounds_touched(job, None, None) if what == "engine" or r.signed]
            if changes:
                await write_asking(self, touched, "What was said at intake is corrected", *changes)

    async def _correct(self, line: Line, was: ev.ReadingEntered) -> None:
        """Type a reading anew; the old figure stays in the list."""
        title, held = f"{line.words}: what does it read rightly?", as_read(was.value, was.unit)
        if (event := await figure_asked(self, title, was.reading, was.cylinder, was.round_id, held=held)) is not None:
            what = f"{line.words} is now {as_read(event.value, event.unit)}"
            await write_asking(self, rounds_touched(self.job, was.round_id, was.cylinder), what, event)

    async def _call_anew(self, line: Line, was: ev.ByEarCalled) -> None:
        """A wrong key at the call: the right one in its place, as sure as was said; the old call stays in the list."""
        record = self.job.round(was.round_id)
        can = calls(points := round_points(self.job, record))
        options = [(c.key, c.words, c.more) for c in can]
        title = f"{line.words}. What was called rightly?"
        if (key := await self.pick(title, options, keyed=True)) is None:
            return
        choice = next(c.id for c in can if c.key == key)
        called = await answered(self, choice, points, "Which paths were heard?")
        if called:
            before = not record.numbers_shown
            event = ev.ByEarCalled(round_id=record.id, name=was.name, before_numbers=before, **said(called, was.sure))
            signed = (record,) if record.signed else ()  # no verdict rests on a call
            await write_asking(self, signed, f"Called anew: {line.words}", take_back(line, "called anew"), event)

    def action_note(self) -> None:
        line = self.line()
        round_id = line.round_id if line else None
        kept = line.payload if line and isinstance(line.payload, ev.ClipKept) else None
        about = f"cylinder {self.cylinder}" if self.cylinder is not None else "the job"
        self.write_note(about, self.cylinder, round_id, kept)

    def action_round(self) -> None:
        if (line := self.line()) and line.round_id:
            self.show("round", line.round_id)

    @asks
    async def action_counts(self) -> None:
        """Set the round of the line aside, or let it count again; nothing of it is lost."""
        if (line := self.line()) is None or line.round_id is None:
            return
        record = self.job.round(line.round_id)
        what = "This round counts again" if record.aside else "This round is set aside: it does not count"
        event = ev.RoundSetAside(round_id=record.id, aside=not record.aside)
        await write_asking(self, rounds_touched(self.job, record.id, None), what, event)


def _round_head(record: RoundRecord | None, counts: RoundRecord | None, beside: str) -> Content:
    if record is None:
        return shown(f"─ {beside}", "bold $accent")
    state = "set aside" if record.aside else "counts" if counts is not None and record.id == counts.id else "older"
    signed = ", signed" if record.signed else ""
    title = f" {plain(record.title, 40)}" if record.title else ""
    return shown(f"─ round of {moment(record.opened)}{title}: {state}{signed}", "bold $accent")


def _row(line: Line, heading: str, columns: int) -> Content:
    """On one line of the screen; the highlighted one stands in full below."""
    (sign, pen), wide = SIGNS[line.state], columns >= WIDE
    cut = 0 if wide else YEAR if columns >= NARROW else DAY
    when = moment(line.time)[cut:] if line.time else ""
    why = f": {plain(line.why, 60)}" if line.why and wide else ""
    state = f" ({STATES[line.state]}{why})" if STATES[line.state] else ""
    before = f" {heading:<{HEADING if cut < DAY else 1}}{when:<{WHEN - cut}} "
    room = columns - len(before) - BESIDE - len(sign) - 1 - len(state)
    return Content.assemble((before, "$secondary"), (f"{sign} {plain(line.words, max(room, LEAST))}{state}", pen))


def _in_full(line: Line) -> Content:
    state = STATES[line.state]
    more = " · ".join(p for p in (state, plain(line.why, 200), moment(line.time) if line.time else "", line.actor) if p)
    can = "Bksp takes it back." if line.may_be_taken_back else "Bksp brings it back." if line.may_come_back else ""
    return Content.assemble((plain(line.words, 400), "bold"), "\n", (f"{more}  {can}".strip(), "$secondary"))
