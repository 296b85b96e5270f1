"""Hit rate: how often the shop's calls were right, real and simulated engines apart; and whether teardowns count."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from textual.binding import Binding
from textual.content import Content

from listen.errors import HisswayError
from listen.jobs import teardowns
from listen.jobs.hit_rate import Decided, HitRate, ScoredCall, calls, decided, hit_rates
from listen.judge.hypotheses import leak_shares
from listen.rate import Rate
from listen.report.build import all_jobs
from listen.voice import figures, names
from listen.voice.figures import number, share
from listen.voice.text import plain
from listen.voice.times import moment
from tui.bridge.services import Services
from tui.bridge.threads import in_thread
from tui.content import shown
from tui.screens.base import TextScreen, in_background

MOST_NAME, READING, UNIT, LEAST_SCALE = 26, 24, 8, 16
"""Columns of a name, of the words behind a share, of the unit behind the scale, and of the scale at least."""
GLYPHS = {True: ("✓ right", "$success"), False: ("× wrong", "bold $error")}
EMPTY = """No teardown is recorded yet, so nothing can be counted.

Once an engine is open: open its job, stand on the cylinder, press f and tick what was found. What ear and program had \
said before is then held against it here."""


NOBODY = "nobody made a call, by ear or by the program, before a teardown"


@dataclass(frozen=True, slots=True)
class Counted:
    """Calls and decisions that a teardown has answered, of the shop's own engines or of simulated ones."""

    simulated: bool
    scored: tuple[ScoredCall, ...]
    rates: tuple[HitRate, ...]
    score: tuple[Decided, ...]

    def page(self, columns: int) -> list[Content]:
        """Shares on one scale, a line a person who decided, and every call with its truth."""
        torn = len({(s.job.id, s.record.cylinder) for s in self.scored})
        what = "Simulated engines, which say nothing about this shop" if self.simulated else "Engines of this shop"
        told = f"{figures.counted(torn, 'cylinder')} whose teardown is known" if torn else NOBODY
        parts = [[Content.assemble((f"{what}: ", "bold $accent"), told)]]
        if self.scored:
            parts[0] += share_lines(self.rates, columns)
        if self.score:
            parts.append([shown("Decisions against teardowns", "$accent"), *map(_decided, self.score)])
        if self.scored:
            # The wrong ones first: they are what there is to learn from.
            calls_ = sorted(self.scored, key=lambda s: (s.right, s.job.title, s.record.cylinder, s.by))
            parts.append([shown("Every call, the wrong ones first", "$accent"), *map(_call, calls_)])
        return [Content("\n").join(lines) for lines in parts]


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


class HitRateScreen(TextScreen):
    """One page: shares with their intervals, then every call."""

    HERE = "hit rate"
    OF_JOB = False
    BEGINS = "Reading every job ..."
    BINDINGS = [
        Binding("t", "try_teardowns", "Try teardowns"),
        Binding("y", "let_count", "Let them count"),
        Binding("x", "count_no_more", "No more"),
    ]
    counted: Sequence[Counted] = ()
    learning: Learning | None = None

    @in_background("count")
    async def on_mount(self) -> None:
        try:
            self.counted, learning = await in_thread(_counted, self.bay.services.jobs_root())
        except HisswayError as e:
            self.put(shown(f"× {e}", "$error"))
            return
        for call in (call for part in self.counted for call in part.scored):
            self.bay.sitting.shown(call.job.id, (call.record.id,), "hitrate")
        self._show(learning)

    def _show(self, learning: Learning) -> None:
        self.learning = learning
        parts = [part for counted in self.counted for part in counted.page(self.size.width - self.BESIDE)]
        if learning.findings:
            parts.append(teardown_words(learning))
        self.put(Content("\n\n").join(parts) if parts else Content(EMPTY))
        self.refresh_bindings()

    def on_resize(self) -> None:
        if self.learning is not None:
            self._show(self.learning)

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
            self._show(replace(before, tried=await tried(self.bay.services, before.findings)))

    def action_let_count(self) -> None:
        self._settle(lambda root, findings: teardowns.let_count(root, findings, self.bay.sitting.name))

    def action_count_no_more(self) -> None:
        self._settle(lambda root, _: teardowns.count_no_more(root))

    def _settle(self, change: Callable[[Path, tuple[teardowns.Torn, ...]], object]) -> None:
        root, before = self.bay.services.jobs_root(), self.learning
        with self.refusing():
            if before is not None:
                change(root, before.findings)
                self._show(replace(before, now=teardowns.counting(root), tried=None))


def _counted(root: Path) -> tuple[list[Counted], Learning]:
    """Calls of the shop's own engines, and of simulated ones, each where there are any; then teardowns."""
    jobs = tuple(all_jobs(root))
    parts = []
    for simulated in (False, True):
        of = [j for j in jobs if j.simulated is simulated]
        scored = calls(of)
        if any(j.findings for j in of):
            parts.append(Counted(simulated, scored, hit_rates(scored), decided(of)))
    return parts, Learning(teardowns.torn_down(jobs), teardowns.counting(root))


def share_lines(rates: Iterable[HitRate], columns: int) -> list[Content]:
    """A line a source of calls, below it one for each sureness stated, all on one scale; and what the signs mean."""
    rows: list[tuple[str, Rate, float | None]] = []
    for found in rates:
        rows.append((names.BY[found.by], found.rate, None))
        rows += [(f"  {share(c.mean_sure)} sure", c.rate, c.mean_sure) for c in found.classes]
    name = min(max(len(words) for words, *_ in rows), MOST_NAME) + 2
    low = columns - name - READING < LEAST_SCALE  # then what a row reads stands below it
    wide = max(columns - name - (UNIT if low else READING), 10)
    zero, half, whole = map(share, (0.0, 0.5, 1.0))
    axis = f"{zero}{half:^{wide - len(zero) - len(whole)}}{whole} right"
    between = f"\n{'':{name}}" if low else " "
    lines = [_share_line(words[:MOST_NAME], rate, sureness, name, wide, between) for words, rate, sureness in rows]
    legend = "◆ share right  ▒ 95 % interval  │ sureness stated"
    legend = legend if low else f"{'':{name}}{legend}"
    return [shown(f"{'':{name}}{axis}", "$secondary"), *lines, shown(legend, "$secondary")]


def _share_line(words: str, rate: Rate, sureness: float | None, name: int, wide: int, between: str) -> Content:
    def at(part: float) -> int:
        return round(part * (wide - 1))

    drawn = ["▒" if at(rate.low95) <= i <= at(rate.high95) else "·" for i in range(wide)]
    if sureness is not None:
        drawn[at(sureness)] = "│"
    drawn[at(rate.value or 0.0)] = "◆"
    pen, told = "" if sureness is not None else "bold", figures.share_interval((rate.low95, rate.high95))
    counts = (f"{between}{rate.hits} of {rate.of} ({told})", pen)
    return Content.assemble((f"{plain(words):<{name}}", pen), ("".join(drawn), "$primary"), counts)


def _decided(d: Decided) -> Content:
    """Whether a supervisor or the program was right."""
    return shown(
        f"{plain(d.name, 40) or 'unnamed'}: agreed {d.agreed}, right {d.agreed_right}; overruled {d.overruled}, "
        f"of these the person alone right {d.person_right}, the program alone right {d.program_right}"
    )


def _call(call: ScoredCall) -> Content:
    word, pen = GLYPHS[call.right]
    who = names.BY[call.by] if call.by == "tool" or not call.name else plain(call.name, 40)
    said = f"{who} said {names.by_ear(call.paths, call.sure)}; it was {names.paths(call.truth)}"
    return Content.assemble(
        (word, pen), f"  {said}  ", (f"{plain(call.job.title, 60)}, cylinder {call.record.cylinder}", "$secondary")
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
