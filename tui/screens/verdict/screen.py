"""Verdict: odds, the weight of evidence line by line, what cannot be told, and the way to the next recording."""

from collections.abc import Sequence

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from listen.jobs.event_words import event_words
from listen.jobs.events import ClipTakenBack, StepPassed
from listen.jobs.job import ClipRecord, Job, RoundRecord
from listen.jobs.reference import DECLINED, beside_it, reference_cylinders, told_since, why_no_reference
from listen.jobs.top_again import found_again, is_asked
from listen.jobs.walk import Wish, advised, spoiled, walked
from listen.judge.result import PathResult, RoundResult, Verdict
from listen.trade.cautions import cautions_for, defer_to_others, told_in
from listen.voice import names, verdicts
from listen.voice.figures import as_read
from listen.voice.text import plain
from tui.content import shown
from tui.screens.ask_before_change import rounds_touched, write_asking
from tui.screens.base import BayScreen, asks
from tui.screens.calls import tech_call
from tui.screens.figures import figure_asked
from tui.widgets.odds import Odds, Weights

HEADS = {
    "none": "What moved the odds that this cylinder is sound",
    "set-up": "What moved the odds that the set-up is wrong",
}
SHORT_LINES, SHORT_PATHS = 30, 4
"""On screens of fewer lines only so many paths are listed beside the named ones, the likeliest."""
FOUND_AGAIN = "Cylinder {n} at top dead centre on compression again, air on slowly: what is the loss now, in percent?"
WHY_NOT = [(w, w, "") for w in ("it is not sound", "recorded in another state", "the microphone was held elsewhere")]


class VerdictScreen(BayScreen[tuple[Wish, ...]]):
    """Dismisses with what to record next, if that is what was asked for."""

    SHOWS_NUMBERS = "round"
    HERE = "verdict"
    PAGE = "#page"
    CSS_PATH = "verdict.tcss"
    AUTO_FOCUS = "Odds"
    BINDINGS = [
        Binding("n", "go_there", "Record next"),
        Binding("c", "confirm", "Confirm"),
        Binding("s", "reference", "Sound cylinder in or out"),
        Binding("j", "judge_again", "Judge again"),
        Binding("space,enter", "back", "Back to the round", show=False),
        Binding("pagedown", "page(1)", "Scroll", show=False),
        Binding("pageup", "page(-1)", "Scroll", show=False),
    ]

    def body(self) -> ComposeResult:
        yield Static(id="verdict")
        with VerticalScroll(id="page", can_focus=False):
            yield Static("How likely each is, alone or with another; range over what is assumed", classes="heading")
            yield Odds()
            yield Static(id="account-head", classes="heading")
            yield Weights()
            yield Static(id="remarks")

    def on_mount(self) -> None:
        self.watch(self.query_one(Odds), "at", self._show_account, init=False)

    def show_job(self, job: Job) -> None:
        judged = self.record.verdict
        if judged is None:
            self.query_one("#verdict", Static).update("No verdict yet.")
            return
        result = judged.result
        self.query_one("#verdict", Static).update(_head(job, self.record, result.verdict))
        odds = self.query_one(Odds)
        was, odds.named, odds.paths = odds.chosen, result.verdict.paths, self._listed(result)
        here = [p.path for p in odds.paths]  # judged anew, they stand in another order
        odds.at = here.index(was.path) if was and was.path in here else 0
        self.query_one("#remarks", Static).update(remarks(job, self.record))
        self._show_account()
        self.call_after_refresh(self.query_one("#page", VerticalScroll).scroll_home, animate=False)

    def _listed(self, result: RoundResult) -> tuple[PathResult, ...]:
        most = SHORT_PATHS if self.size.height < SHORT_LINES else len(result.paths)
        return tuple(p for i, p in enumerate(result.likeliest) if i < most or p.path in result.verdict.paths)

    on_resize = BayScreen.show_again

    def _show_account(self) -> None:
        path = self.query_one(Odds).chosen
        self.query_one(Weights).path = path
        if path is not None:
            leak = "leak" if path.path == "rings" else "leaks"
            leaks = f"What moved the odds that the {names.path(path.path)} {leak}, alone or with another"
            self.query_one("#account-head", Static).update(shown(HEADS.get(path.path, leaks)))

    @asks
    async def action_go_there(self) -> None:
        """Back to the round, aimed at the recording that would help most; what a slip spoiled is taken back first."""
        record = self.record
        verdict = record.verdict.result.verdict if record.verdict else None
        if verdict is not None and (wrong := spoiled(verdict, record)):
            await self._record_again(wrong)
        elif is_asked(self.job, record):
            await self._top_found_again()
        elif verdict is not None and (plan := advised(verdict, record)):
            self.dismiss(plan)
        else:
            self.tell("The next thing to do is no recording: see the line that begins with Next.")

    async def _record_again(self, wrong: Sequence[ClipRecord]) -> None:
        at = [(c.kept.point, c.kept.walk) for c in wrong]
        what = f"Recording again: {'; '.join(names.walked_clip(*one) for one in at)}. What is there now is taken back"
        events = (ClipTakenBack(clip=c.id, reason="recorded again") for c in wrong)
        if await write_asking(self, rounds_touched(self.job, self.round_id, None), what, *events):
            # Where their walk was left out, or others are due before them, they are not what comes next by itself.
            due = walked(self.job, self.round_id).due
            there = (due.point, due.walk) in at
            self.dismiss(() if there else tuple(Wish(c.kept.point, c.kept.clip_kind, c.kept.walk) for c in wrong))

    async def _top_found_again(self) -> None:
        """The loss, top dead centre found again: where it stays the round is judged with that, else walked again."""
        job, record = self.job, self.record
        remind = told_in(job.pressure_unit, (*cautions_for("cranking")[:1], *cautions_for("air-on")[:2]))
        title = " ".join((*(f"▲ {c.words}" for c in remind), FOUND_AGAIN.format(n=record.cylinder)))
        read = await figure_asked(self, title, "loss", record.cylinder, self.round_id)
        if read is None:
            return
        was, events = job.reading_for("loss", record), found_again(job, record, read)
        # Where it stays nothing that was taken is touched: the verdict asked for this very answer.
        touched = rounds_touched(job, self.round_id, None) if read in events else ()
        now, before = (as_read(r.value, r.unit) if r else "" for r in (read, was))
        what = f"The loss is {now}, it was {before}: all clips are to be taken again at this stand"
        if await write_asking(self, touched, what, *events):
            self.dismiss(())

    @asks
    async def action_reference(self) -> None:
        """Leave the sound cylinder out of this round, with a reason, or take it in again."""
        job, record = self.job, self.record
        if record.signed:
            self.tell("The round is signed and closed; its sound cylinder stands as it is.")
        elif why_no_reference(record):
            self._decline("")
        elif others := reference_cylinders(job, self.round_id) or told_by(record):
            words = " and ".join(map(str, others))
            title = f"Why are the clips of cylinder {words} not to stand beside this round?"
            if (why := await self.pick(title, WHY_NOT)) is not None:
                self._decline(why)
        else:
            self.tell("No other cylinder stands beside this round: nothing to leave out.")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Judging again is offered only where other cylinders were judged since, a sound one where there are others."""
        if action == "reference" and len(self.job.engine.cylinders) == 1:
            return False
        return action != "judge_again" or bool(self.bay.job and told_since(self.bay.job, self.round_id))

    def action_judge_again(self) -> None:
        """Let the other cylinders count as they stand now: the round is judged anew once one is back at it."""
        if self.record.signed:
            self.tell("The round is signed and closed; its verdict stands as it is.")
        else:
            self._decline("")

    def _decline(self, reason: str) -> None:
        if self.write(StepPassed(round_id=self.round_id, step=DECLINED, reason=reason)):
            self.dismiss(())  # a round is judged where it is seen, never behind another screen

    def action_confirm(self) -> None:
        self.show("confirm", self.round_id)


def told_by(record: RoundRecord) -> tuple[int, ...]:
    """Other cylinders whose rounds this one was judged with."""
    return record.verdict.result.told_by if record.verdict is not None else ()


def _head(job: Job, record: RoundRecord, verdict: Verdict) -> Content:
    """A person's decision first; the program's verdict below it."""
    lines = []
    if (decision := record.decision) is not None:
        signed = ", signed" if decision.signatures else ""
        lines.append(Content.styled(f"● {event_words(decision.payload, job)}{signed}", "bold $warning"))
    lines.append(Content.styled(f"{verdicts.glyph(verdict.kind)} {plain(verdict.text, 600)}", "bold $accent"))
    if verdict.next:
        lines.append(Content.assemble(("Next: ", "bold"), plain(verdict.next, 600)))
    if record.stale:
        lines.append(shown("! Clips or readings changed since; the round will be judged again.", "bold $warning"))
    return Content("\n").join(lines)


def remarks(job: Job, record: RoundRecord) -> Content:
    """All of it, a line each."""
    cautions = [f"▲ {c.words}" for c in (*cautions_for("after")[:1], *cautions_for("stop-driving"))]
    changed = [f"! {plain(text)}" for text in record.changed_after_signing]
    lines = [
        shown(tech_call(record)),
        shown(f"{beside_it(job, record)}."),
        *(shown(plain(sentence, 400)) for sentence in (record.verdict.result.learnt if record.verdict else ())),
        *([shown(_since(others))] if (others := told_since(job, record.id)) else []),
        *(shown(c, "$warning") for c in (*changed, *cautions)),
        shown(defer_to_others(), "$secondary"),
    ]
    return Content("\n").join(lines)


def _since(others: tuple[int, ...]) -> str:
    which = f"Cylinder {others[0]} was" if len(others) == 1 else f"Cylinders {' and '.join(map(str, others))} were"
    return f"{which} judged since: j judges this round again with what they tell of the engine."
