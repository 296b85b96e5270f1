"""Waiting: what waits for a supervisor over all jobs of the folder; Enter hears and decides, past no verdict."""

from collections.abc import Mapping

from textual.binding import Binding
from textual.content import Content

from listen.jobs.folder.store import open_job
from listen.jobs.folder.witnesses import JobSummary
from listen.jobs.standing import ORDER, Waiting
from listen.voice import times
from listen.voice.names import WAITS
from listen.voice.text import plain
from tui.content import shown
from tui.screens.job_table import JobTable, Rows

LOOK_EVERY_S = 10.0
"""The folder may be a share with hundreds of jobs; one look costs a file's length and time each."""
EMPTY = """Nothing waits for a supervisor here.

A round waits once it was judged; one that was sent back waits again once the clip asked for has come."""


class WaitingScreen(JobTable):
    """One line a round, those that came again first."""

    HERE, TABLE, EMPTY = "waits for a supervisor", "waiting", EMPTY
    COLUMNS = (("Waits", 23), ("Cyl", 3), ("Job", 0), ("By", 10), ("Since", 16))
    GIVE_WAY = ("Since", "By")
    AUTO_FOCUS = "#waiting"
    BINDINGS = [Binding("f2", "app.who", "Who sits here")]
    _rows: Mapping[str, tuple[JobSummary, Waiting]] = {}

    def on_mount(self) -> None:
        self.set_interval(LOOK_EVERY_S, self._look)

    def _look(self) -> None:
        if self.app.screen is self:
            self.load()

    def read(self, jobs: list[JobSummary]) -> None:
        rows = sorted(
            ((job, one) for job in jobs for one in job.waiting), key=lambda row: (ORDER.index(row[1].why), row[1].since)
        )
        self._rows = {f"{job.folder}/{one.round_id}": (job, one) for job, one in rows}
        self.fill()

    def fill(self) -> None:
        self.put({key: _row(*row) for key, row in self._rows.items()})
        if self._rows:
            self.query_one(Rows).focus()

    def in_full(self, key: str) -> Content:
        """Which job it is, where the column had to cut its title, and what gave way to it."""
        job, one = self._rows[key]
        by = f"recorded by {plain(one.recorded_by, 40)}, " if one.recorded_by else ""
        what = shown(f"{job.title}, cylinder {one.cylinder}", "bold")
        return Content("\n").join([what, shown(f"{by}since {times.moment(one.since)}", "$secondary")])

    def open(self, key: str) -> None:
        job, one = self._rows[key]
        with self.refusing():
            self.bay.take(open_job(self.bay.services.jobs_root() / job.folder, bench=False))
            self.show("confirm", one.round_id)


def _row(job: JobSummary, one: Waiting) -> tuple[str, ...]:
    why = WAITS[one.why] + (f", {plain(one.asked_by, 30)}" if one.asked_by else "")
    return why, str(one.cylinder), plain(job.title), plain(one.recorded_by or "–"), times.moment(one.since)
