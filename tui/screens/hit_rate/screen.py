"""Hit rate: how often the shop's calls were right, real and simulated engines apart; and whether teardowns count."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import VerticalScroll
from textual.content import Content
from textual.reactive import reactive
from textual.widgets import Static

from listen.errors import HisswayError
from listen.jobs import teardowns
from listen.jobs.hit_rate import Decided, HitRate, ScoredCall
from listen.judge.hypotheses import leak_shares
from listen.voice import figures, names
from listen.voice.figures import number, share
from listen.voice.text import plain
from listen.voice.times import moment
from tui.bridge.services import Services
from tui.bridge.threads import in_thread
from tui.content import shown
from tui.screens.base import BayScreen, in_background
from tui.widgets.shares import Share, Shares

Counted = tuple[bool, tuple[ScoredCall, ...], tuple[HitRate, ...], tuple[Decided, ...]]
GLYPHS = {True: ("✓ right", "$success"), False: ("× wrong", "bold $error")}
EMPTY = """No teardown is recorded yet, so nothing can be counted.

Once an engine is open: open its job, stand on the cylinder, press f and tick what was found. What ear and program had \
said before is then held against it here."""


@dataclass(frozen=True, slots=True)
class Learning:
    """How it stands."""

    findings: tuple[teardowns.Torn, ...]
    now: teardowns.Counting | None
    tried: tuple[teardowns.Trial, teardowns.Trial] | None = None
    """The shop's own rounds judged by the tables alone, and with its teardowns."""

    @property
    def enough(self) -> bool:
        return len(self.findings) >= teardowns.LEAST


class HitRateScreen(BayScreen[None]):
    """One page: shares with their intervals, then every call."""

    HERE = "hit rate"
    OF_JOB = False
    CSS_PATH = "hit_rate.tcss"
    AUTO_FOCUS = "#page"
    BINDINGS = [
        Binding("t", "try_teardowns", "Try teardowns"),
        Binding("y", "let_count", "Let them count"),
        Binding("x", "count_no_more", "No more"),
    ]
    learning: reactive[Learning | None] = reactive[Learning | None](None)

    def body(self) -> ComposeResult:
        with VerticalScroll(id="page"):
            yield Static(shown("Reading every job ..."), id="state", classes="empty")
            yield Static(id="learning")

    @in_background("count")
    async def on_mount(self) -> None:
        state = self.query_one("#state", Static)
        root = self.bay.services.jobs_root()
        try:
            counted, learning = await in_thread(_counted, root)
        except HisswayError as e:
            state.update(shown(f"× {e}", "$error"))
            return
        self.learning = learning
        if not counted and not learning.findings:
            state.update(EMPTY)
            return
        await state.remove()
        for simulated, scored, rates, score in counted:
            for call in scored:
                self.bay.sitting.shown(call.job, (call.round_id,), "hitrate")
            drawn = Shares()
            drawn.shares = shares(rates)
            await self.query_one("#page").mount(
                Static(heading(scored, simulated)),
                drawn,
                Static(decisions(score)),
                Static(listed(scored), classes="calls"),
            )

    def watch_learning(self) -> None:
        if self.learning is not None and self.learning.findings:
            self.query_one("#learning", Static).update(teardown_words(self.learning))
        self.refresh_bindings()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """A key stands below only where it does something."""
        now = self.learning
        works = {
            "try_teardowns": now is not None and now.enough,
            "let_count": now is not None and now.tried is not None,
            "count_no_more": now is not None and now.now is not None,
        }
        return works.get(action, True)

    @in_background("try")
    async def action_try_teardowns(self) -> None:
        self.tell("Judging the shop's own rounds again, with and without their teardowns ...")
        if (before := self.learning) is not None:
            self.learning = replace(before, tried=await tried(self.bay.services, before.findings))

    def action_let_count(self) -> None:
        self._settle(lambda root, findings: teardowns.let_count(root, findings, self.bay.sitting.name))

    def action_count_no_more(self) -> None:
        """Judge by the tables alone again."""
        self._settle(lambda root, _: teardowns.count_no_more(root))

    def _settle(self, change: Callable[[Path, tuple[teardowns.Torn, ...]], object]) -> None:
        root, before = self.bay.services.jobs_root(), self.learning
        with self.refusing():
            if before is not None:
                change(root, before.findings)
                self.learning = replace(before, now=teardowns.counting(root), tried=None)


def _counted(root: Path) -> tuple[list[Counted], Learning]:
    """Calls and rates of the shop's own engines, and of simulated ones, each where there are any; then teardowns."""
    from listen.jobs.hit_rate import calls, decided, hit_rates
    from listen.report.build import all_jobs

    jobs = tuple(all_jobs(root))
    everything = calls(jobs)
    parts = [(simulated, tuple(s for s in everything if s.simulated is simulated)) for simulated in (False, True)]
    rates = [
        (simulated, scored, hit_rates(scored), decided(j for j in jobs if j.simulated is simulated))
        for simulated, scored in parts
        if scored
    ]
    return rates, Learning(teardowns.torn_down(jobs), teardowns.counting(root))


def shares(rates: tuple[HitRate, ...]) -> tuple[Share, ...]:
    """A line a source of calls, and below it a line for each class of sureness stated."""
    rows: list[Share] = []
    for found in rates:
        rows.append(Share(names.BY[found.by], found.rate, heading=True))
        rows += [Share(f"  {figures.share(c.mean_sure)} sure", c.rate, c.mean_sure) for c in found.classes]
    return tuple(rows)


def heading(scored: tuple[ScoredCall, ...], simulated: bool) -> Content:
    torn = len({(s.job, s.cylinder) for s in scored})
    what = "simulated engines, which say nothing about this shop" if simulated else "engines of this shop"
    opened = f"{figures.counted(torn, 'cylinder')} whose teardown is known"
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
    said = f"{who} said {names.by_ear(call.paths, call.sure)}; it was {names.paths(call.truth)}"
    return Content.assemble(
        (word, pen), f"  {said}  ", (f"{plain(call.title, 60)}, cylinder {call.cylinder}", "$secondary")
    )


async def tried(services: Services, findings: Sequence[teardowns.Torn]) -> tuple[teardowns.Trial, teardowns.Trial]:
    """Judge the shop's own rounds twice; a round's own job never counts for it."""
    without, with_them = [], []
    for job, round_, truth in await in_thread(lambda: list(teardowns.own_rounds(services.jobs_root()))):
        without.append((await services.evaluate(replace(round_, shop=None)), truth))
        with_them.append((await services.evaluate(replace(round_, shop=teardowns.seen(findings, job))), truth))
    return teardowns.trial(without), teardowns.trial(with_them)


def teardown_words(learning: Learning) -> Content:
    n, now = len(learning.findings), learning.now
    lines = [shown("Teardowns and the odds", "$accent")]
    if now is not None:
        by = f", by {plain(now.by, 40)}" if now.by else ""
        since = f"{moment(now.since)}{by}"
        lines.append(shown(f"● {len(now.findings)} teardowns count for the odds since {since}. x: no more."))
        if n > len(now.findings):
            lines.append(shown(f"{n - len(now.findings)} more were found since; t tries them all."))
    elif learning.enough:
        lines.append(shown(f"○ {n} teardowns are recorded, not counted. t judges their rounds with and without them."))
    else:
        lines.append(shown(f"○ {n} of {teardowns.LEAST} teardowns: fewer tell too little to move base rates."))
    if learning.tried is not None:
        lines += _before_and_after(learning, *learning.tried)
    return Content("\n").join(lines)


def _before_and_after(learning: Learning, before: teardowns.Trial, after: teardowns.Trial) -> list[Content]:
    rows = [shown(f"{before.rounds} rounds of theirs judged again, each without the teardowns of its own job:")]
    for words, of in (("by the tables alone", before), ("with the teardowns", after)):
        score = f"named {of.named}, right {of.right}, log loss {number(of.log_loss, 3)}"
        rows.append(shown(f"  {words:<20} {score}"))
    counts = teardowns.seen(learning.findings, "")
    if counts is not None:
        moved = [f"{names.path(p)} {share(was)} to {share(now)}" for p, was, now in leak_shares(counts)]
        rows.append(shown(f"  share among leaks: {', '.join(moved)}"))
    return [*rows, shown("y: let them count from now on. What was judged before stays as it is.", "bold")]
