"""Before and after: another job of the list beside the open one, figure by figure."""

import asyncio

from textual.binding import Binding
from textual.content import Content

from listen.jobs.before_after import Change, Comparison, CylinderChange
from listen.jobs.job import Job
from listen.voice import names, times
from listen.voice.figures import UNITS, number
from listen.voice.text import plain
from tui.content import shown
from tui.screens.base import TextScreen, asks
from tui.screens.dialog import PickScreen

NONE = (
    "There is no other job to compare with. After a repair, take the same engine in as a new job, test it again, "
    "and choose the earlier one here."
)


class CompareScreen(TextScreen):
    """The open job is the later one."""

    HERE = "before and after"
    SHOWS_NUMBERS = "job"
    BEGINS = "Press o and choose the job that was done before on this engine."
    BINDINGS = [Binding("o", "other", "Choose the earlier job")]

    def __init__(self) -> None:
        super().__init__()
        self._before: Job | None = None

    def on_mount(self) -> None:
        self.call_after_refresh(self.action_other)

    def show_job(self, job: Job) -> None:
        from listen.jobs.before_after import compare

        if self._before is not None:
            self.put(_page(self._before, job, compare(self._before, job)))

    @asks
    async def action_other(self) -> None:
        from listen.jobs.folder.store import open_job
        from listen.jobs.folder.summary import list_jobs

        found = await asyncio.to_thread(list_jobs, self.bay.services.jobs_root())
        here = self.bay.open_job.folder.name if self.bay.open_job else ""
        others = [s for s in found if s.folder != here]
        if not others:
            self.put(shown(NONE))
            return
        options = [(s.folder, plain(s.title, 60), f"{plain(s.engine, 30)} {times.day(s.changed)}") for s in others]
        if folder := await self.answer(PickScreen("Which job was before?", options)):
            self._before = open_job(self.bay.services.jobs_root() / folder, write=False).job
            self._job_changed(self.bay.job)


def _page(before: Job, after: Job, comparison: Comparison) -> Content:
    heads = Content.assemble(
        ("before  ", "$secondary"),
        plain(before.title, 80),
        f" ({times.day(before.opened)})\n",
        ("after   ", "$secondary"),
        plain(after.title, 80),
        f" ({times.day(after.opened)})",
    )
    parts = [heads, *(shown(f"! {r}", "$warning") for r in comparison.remarks), shown("")]
    for row in comparison.cylinders:
        parts += _cylinder(row)
    return Content("\n").join(parts)


def _cylinder(row: CylinderChange) -> list[Content]:
    changes = f"{len(row.changed)} changed beyond uncertainty" if row.changed else "nothing changed beyond uncertainty"
    parts = [shown(f"Cylinder {row.cylinder}: {changes}", "bold $accent")]
    for when, text in (("before", row.verdict_before), ("after", row.verdict_after)):
        parts.append(Content.assemble((f"  {when:<7}", "$secondary"), plain(text or "no verdict", 300)))
    parts += [_change(c) for c in row.changes]
    return [*parts, shown("")]


def _change(c: Change) -> Content:
    where = f"{names.figure_name(c.what)} {c.point.replace('-', ' ')}".strip()
    glyph, pen = ("●", "$success") if c.beyond else ("·", "$secondary")
    text = f"{where:<26} {number(c.before):>8} → {number(c.after):>8} {UNITS.get(c.unit, c.unit)}"
    if c.difference is not None and c.uncertainty is not None:
        text += f"   {number(c.difference, sign=True)} ± {number(c.uncertainty)}"
    remark = f"   {plain(c.remark)}" if c.remark else ""
    return Content.assemble((f"  {glyph} ", pen), (text, "bold" if c.beyond else ""), (remark, "$secondary"))
