"""The keys of the Engine screen, and where they lead."""

from textual.binding import Binding

from listen.jobs.events import CautionAcknowledged, FindingRecorded, JobNamed, Payload, PlugSeen
from listen.jobs.folder.open_job import new_round
from listen.jobs.job import RoundRecord
from listen.jobs.standing import latest_round
from listen.trade.cautions import Step, cautions_for
from listen.trade.facts import plugs
from listen.trade.units import KPA_PER
from listen.voice import names
from tui.screens.ask_before_change import rounds_touched, write_asking
from tui.screens.base import BayScreen, asks
from tui.screens.cautions import CautionScreen
from tui.screens.dialog import PickScreen, TickScreen
from tui.screens.engine import cells

AGAIN = [("y", "yes, to do it over", ""), ("n", "no", "leave it as it is")]


class EngineKeys(BayScreen[None]):
    """Bindings and actions; :class:`EngineScreen` shows."""

    SHOWS_NUMBERS = "job"
    BINDINGS = [
        Binding("r", "round", "Round"),
        Binding("o", "show('page')", "Page"),
        Binding("p", "plug", "Plug"),
        Binding("c", "confirm", "Confirm"),
        Binding("b", "show('compare')", "Compare"),
        Binding("d", "show('diagnosis')", "Diagnosis"),
        Binding("s", "show('facts')", "Facts"),
        Binding("f", "finding", "Teardown"),
        Binding("j", "show('job')", "Job"),
        Binding("P", "show('photos')", "Photos", key_display="P"),
        Binding("R", "new_round", "Again", key_display="R"),
        Binding("a", "show('cautions')", "Cautions"),
        Binding("u", "units", "Units"),
        Binding("n", "note", "Note on this cylinder", show=False),
        Binding("tab", "app.focus_next", "Drawing or table", show=False),
    ]

    def cylinder(self) -> int:
        raise NotImplementedError

    def about(self, name: str) -> tuple[object, ...]:
        """The cylinder one is on, for what is about one."""
        return (self.cylinder(),) if name in ("page", "photos") else ()

    def action_round(self) -> None:
        if rounds := self._rounds():
            self.show("round", rounds[-1].id)
        else:
            self._begin()

    def _rounds(self) -> list[RoundRecord]:
        """Rounds of this cylinder that were not set aside."""
        return [r for r in self.job.rounds_of(self.cylinder()) if not r.aside]

    @asks
    async def action_new_round(self) -> None:
        """Begin a round on this cylinder; where there is one already, only after a yes."""
        title = (
            f"Begin another round on cylinder {self.cylinder()}? The present one stays on the cylinder's page. After a "
            "repair take the engine in anew instead (o on the list of jobs): then before and after are compared."
        )
        if not self._rounds() or await self.answer(PickScreen(title, AGAIN, keyed=True)) == "y":
            self._begin()

    def _begin(self) -> None:
        begun = new_round(self.cylinder())
        if self.write(begun):
            self.show("round", begun.round_id)

    @asks
    async def action_plug(self) -> None:
        cylinder = self.cylinder()
        if await self.read_first(("plugs-out", "cranking")) is None:
            return
        seen, options = self.job.plugs.get(cylinder), [(p.id, p.words, p.look) for p in plugs()]
        title = f"Plug of cylinder {cylinder}: one look or several"
        if looks := await self.answer(TickScreen(title, options, seen.conditions if seen else ())):
            what = f"Plug of cylinder {cylinder}: {names.plug_looks(looks)}"
            await self.keep(PlugSeen(cylinder=cylinder, conditions=looks), what)

    @asks
    async def action_finding(self) -> None:
        cylinder, job = self.cylinder(), self.job
        found, by = job.findings.get(cylinder), job.people.get("tech", "")
        title = f"Teardown finding on cylinder {cylinder}: what was it really?"
        dialog = TickScreen(title, cells.finding_choices(job.engine), found.paths if found else ())
        if paths := await self.answer(dialog):
            self.write(FindingRecorded(cylinder=cylinder, paths=paths, found_by=by))

    def action_confirm(self) -> None:
        record = latest_round(self.job, self.cylinder())
        if record is not None and record.verdict is not None:
            self.show("confirm", record.id)
        else:
            self.tell("This cylinder's round has no verdict yet: nothing to confirm.")

    @asks
    async def action_units(self) -> None:
        """Tell pressures in another unit from now on; every reading stays as it was entered."""
        now, options = self.job.pressure_unit, [(str(unit), str(unit)) for unit in KPA_PER]
        title = "Pressures in which unit? Readings stay as they were entered."
        unit = await self.answer(PickScreen(title, options, now))
        if unit not in (None, now):
            self.write(JobNamed(pressure_unit=unit))

    def action_note(self) -> None:
        self.write_note(f"cylinder {self.cylinder()}", self.cylinder(), None)

    async def read_first(self, steps: tuple[Step, ...]) -> str | None:
        """Have the cautions of steps read and acknowledged, once a job: what was typed meanwhile, None where left."""
        name = "+".join(steps)
        if not steps or name in self.job.cautions:
            return ""
        typed = await self.answer(CautionScreen(cautions_for(*steps), "Before this: read these and say so"))
        return typed if typed is not None and self.write(CautionAcknowledged(caution=name)) else None

    async def keep(self, payload: Payload, what: str) -> None:
        """Write an event about this cylinder, after asking where a verdict or a signature rests on it."""
        await write_asking(self, rounds_touched(self.job, None, self.cylinder()), what, payload)
