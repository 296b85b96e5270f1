"""Whether the shop's own teardowns count for the odds: how many there are, what they change, since when they do."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from textual.content import Content

from listen.jobs.teardowns import LEAST, Counting, Torn, Trial, own_rounds, seen, trial
from listen.judge.hypotheses import leak_shares
from listen.voice import names
from listen.voice.figures import number, share
from listen.voice.text import plain
from listen.voice.times import moment
from tui.bridge.services import Services
from tui.bridge.threads import in_thread
from tui.content import shown


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
