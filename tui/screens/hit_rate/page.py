"""Hit rates as words and shares to be drawn, real and simulated engines apart; and whether teardowns count."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from textual.content import Content

from listen.jobs.hit_rate import Decided, HitRate, ScoredCall
from listen.jobs.teardowns import LEAST, Counting, Torn, Trial, own_rounds, seen, trial
from listen.judge.hypotheses import leak_shares
from listen.voice import figures, names
from listen.voice.figures import number, share
from listen.voice.text import plain
from listen.voice.times import moment
from tui.bridge.services import Services
from tui.bridge.threads import in_thread
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
        rows.append(Share(names.BY[found.by], found.rate, heading=True))
        rows += [Share(f"  {figures.share(c.mean_sure)} sure", c.rate, c.mean_sure) for c in found.classes]
    return tuple(rows)


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


@dataclass(frozen=True, slots=True)
class Learning:
    """How it stands."""

    findings: tuple[Torn, ...]
    now: Counting | None
    tried: tuple[Trial, Trial] | None = None
    """The shop's own rounds judged by the tables alone, and with its teardowns."""

    @property
    def enough(self) -> bool:
        return len(self.findings) >= LEAST


async def tried(services: Services, findings: Sequence[Torn]) -> tuple[Trial, Trial]:
    """Judge the shop's own rounds twice; a round's own job never counts for it."""
    without, with_them = [], []
    for job, round_, truth in await in_thread(lambda: list(own_rounds(services.jobs_root()))):
        without.append((await services.evaluate(replace(round_, shop=None)), truth))
        with_them.append((await services.evaluate(replace(round_, shop=seen(findings, job))), truth))
    return trial(without), trial(with_them)


def told(learning: Learning) -> Content:
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
        lines.append(shown(f"○ {n} of {LEAST} teardowns: fewer tell too little to move base rates. They do not count."))
    if learning.tried is not None:
        lines += _before_and_after(learning, *learning.tried)
    return Content("\n").join(lines)


def _before_and_after(learning: Learning, before: Trial, after: Trial) -> list[Content]:
    rows = [shown(f"{before.rounds} rounds of theirs judged again, each without the teardowns of its own job:")]
    for words, of in (("by the tables alone", before), ("with the teardowns", after)):
        score = f"named {of.named}, right {of.right}, log loss {number(of.log_loss, 3)}"
        rows.append(shown(f"  {words:<20} {score}"))
    counts = seen(learning.findings, "")
    if counts is not None:
        moved = [f"{names.path(p)} {share(was)} to {share(now)}" for p, was, now in leak_shares(counts)]
        rows.append(shown(f"  share among leaks: {', '.join(moved)}"))
    return [*rows, shown("y: let them count from now on. What was judged before stays as it is.", "bold")]
