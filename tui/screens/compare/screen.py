"""Before and after: another job of the list beside the open one, figure by figure."""

from textual.binding import Binding
from textual.content import Content

from listen.jobs.folder.store import list_jobs, open_job
from listen.jobs.job import Job
from listen.report.before_part import BeforePart, ChangeRow, before_part
from listen.voice import times
from listen.voice.text import plain
from tui.bridge.threads import in_thread
from tui.content import shown
from tui.screens.base import TextScreen, asks

NONE = (
    "There is no other job to compare with. After a repair press o on the list of jobs and choose: test this engine "
    "again. Then the earlier job is chosen here."
)


class CompareScreen(TextScreen):
    """The open job is the later one."""

    HERE = "before and after"
    SHOWS_NUMBERS = "job"
    BEGINS = "Press o and choose the job that was done before on this engine."
    BINDINGS = [Binding("o", "other", "Choose the earlier job")]
    _before: Job | None = None

    def on_mount(self) -> None:
        self.call_after_refresh(self.action_other)

    def show_job(self, job: Job) -> None:
        if self._before is not None:
            self.whole_job_shown(self._before)
            self.put(_page(self._before, job, before_part(self._before, job)))

    @asks
    async def action_other(self) -> None:
        found = await in_thread(list_jobs, self.bay.services.jobs_root())
        here = self.bay.open_job.folder.name if self.bay.open_job else ""
        others = [s for s in found if s.folder != here]
        if not others:
            self.put(shown(NONE))
            return
        options = [(s.folder, plain(s.title, 60), f"{plain(s.engine, 60)} {times.day(s.changed)}") for s in others]
        if folder := await self.pick("Which job was before?", options):
            self._before = open_job(self.bay.services.jobs_root() / folder, write=False).job
            self._job_changed(self.bay.job)


def _page(before: Job, after: Job, part: BeforePart) -> Content:
    heads = [
        Content.assemble((f"{when:<8}", "$secondary"), plain(job.title, 80), f" ({times.day(job.opened)})")
        for when, job in (("before", before), ("after", after))
    ]
    moved = sum(row.beyond is True for row in part.rows)
    compared = any(row.beyond is not None for row in part.rows)
    said = f"{moved or 'Nothing'} changed beyond uncertainty" if compared else "Nothing to compare yet"
    remark = [shown(f"! {part.remark}", "$warning")] if part.remark else []
    return Content("\n").join([*heads, *remark, shown(""), shown(said, "bold $accent"), *map(_row, part.rows)])


def _row(row: ChangeRow) -> Content:
    """As the report says it: what, before, after, and how far it moved beside what both leave open."""
    glyph, pen = ("●", "$success") if row.beyond else ("·", "$secondary")
    what, moved = (row.what, "bold" if row.beyond else ""), (f"   {plain(row.change, 200)}", "$secondary")
    return Content.assemble((f"  {glyph} ", pen), what, f"   {plain(row.before, 400)} → {plain(row.after, 400)}", moved)
