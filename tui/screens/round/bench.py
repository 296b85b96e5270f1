"""One round as all that works for it knows it: the job, what is under way, the view of both, and the microphone."""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from operator import is_not
from typing import Any

from textual.geometry import Size

from listen.audio.files import read_clip
from listen.errors import HisswayError, JobError
from listen.jobs.events import Payload, WayChosen
from listen.jobs.walk import Step
from listen.jobs.ways import SWITCHED, way_of
from listen.signal.live import quiet_spectrum
from tui.bridge.listener import Listener
from tui.bridge.threads import in_thread
from tui.screens.base import BayScreen
from tui.screens.channels import for_these
from tui.screens.round.now import Now, Outcome
from tui.screens.round.view import View, view
from tui.screens.round.words import key_takes
from tui.widgets.large import Count, Countdown
from tui.widgets.level_meter import LevelMeter


class Bench(BayScreen[None]):
    """Everything that it shows follows from the job and from :class:`Now`."""

    listener: Listener
    now = Now()
    _made: tuple[Any, Size, View] | None = None
    _listening_at = ("", "")

    @property
    def view(self) -> View:
        """The view of the job and of now: made once, however often it is asked for."""
        job, prefs = self.job, self.bay.preferences
        of, size = (job, self.now, prefs), self.size
        # Frozen values: the same objects give the same view, and need not be compared field by field.
        if self._made is None or size != self._made[1] or any(map(is_not, of, self._made[0])):
            gauge = self.bay.services.gauge(job.round(self.round_id).cylinder)
            self._made = of, size, view(job, self.round_id, self.now, prefs, size.height, gauge)
        return self._made[2]

    def step(self) -> Step:
        """What is under way, chosen or due."""
        return self.view.step

    def points(self) -> tuple[str, ...]:
        return tuple(p.id for p in self.view.walk.points)

    def due_takes(self) -> tuple[Step, ...]:
        """Switched takes that are due, and the one wished for."""
        wished = {w.point for w in self.now.plan}
        return tuple(s for s in self.view.walk.steps if s.walk == SWITCHED and (s.state == "due" or s.point in wished))

    def by_key(self, step: Step) -> str:
        return key_takes(self.opened.job, step, self.now, self.bay.preferences)

    def under_way(self) -> str:
        return "a clip is being taken, Esc stops it" if self.now.busy else ""

    def change(self, **changes: Any) -> None:
        """Replace fields of what is known beside the job, and show it."""
        self.now = replace(self.now, **changes)
        self.draw_soon()

    def draw_soon(self) -> None:
        """Draw once, however much has changed until then."""
        if self.is_attached:
            # Later, once for all that changed in this turn.
            self.call_later(self.draw)

    def draw(self) -> None:
        """Put the view into the widgets."""
        raise NotImplementedError

    def count(self, count: Count | None) -> None:
        """Show the countdown of what is under way."""
        for shown in self.query(Countdown):  # none while the program closes: children go before their screen does
            shown.count = count

    def refuse(self, error: HisswayError) -> None:
        """In the banner, where what became of the last clip stands: it stays there."""
        lead = "Not written" if isinstance(error, JobError) else "Not done"
        self.change(outcome=Outcome(False, str(error), lead=lead))

    def write_answer(self, *payloads: Payload) -> bool:
        """Write; then what became of the clip before it is no news any more, and the round may be judged with it."""
        if written := self.write(*payloads):
            self.change(outcome=None, plan=self.now.plan[1:], tried=())
        return written

    def way_chosen(self, way: str) -> None:
        """How rounds are taken from now on; the input is opened anew for what it asks."""
        if self.write(WayChosen(way=way)):
            self.change(plan=(), outcome=None)
            self.listener.close()
            self.listen()

    def listen(self) -> None:
        """Open the microphone; the screen is there meanwhile."""
        cylinder, name, services = self.record.cylinder, self.bay.preferences.input_name, self.bay.services
        every = way_of(self.job.way).by_key == "all"
        self.listener = Listener(lambda: services.source(cylinder, name, every=every))
        self.query_one(LevelMeter).listener = self.listener
        self.listener.start()
        self._listening_at = ("", "")
        self.draw_soon()

    def microphones(self, step: Step) -> Sequence[str]:
        """The point of each channel (empty: unused) where each point has its own; else where the one microphone is."""
        places: Sequence[str] = ()
        if way_of(self.opened.job.way).by_key == "all":
            places = for_these(self.bay.preferences.channels.get(self.listener.name, ()), self.points())
        return places if step.point in places else (step.point,)

    def listen_at(self, step: Step) -> None:
        """Aim a simulated microphone, and compare the live level with this point's quiet clip."""
        at = (step.point, step.walk) if step.kind == "clip" else ("", "")
        if at == self._listening_at:
            return
        self._listening_at = at
        if step.kind == "clip":
            self.listener.hold_at(self.microphones(step), step.clip_kind)
        self.start(partial(self._compare, step), "quiet")

    async def _compare(self, step: Step) -> None:
        quiets = self.record.live_clips(step.point, "quiet") if step.kind == "clip" and step.walk != "quiet" else ()
        # First: until the new quiet is read nothing is shown over another point's.
        self.listener.compare_with(None)
        if not quiets:
            return
        path = self.opened.clip_path(quiets[-1].id)
        try:
            self.listener.compare_with(await in_thread(lambda: quiet_spectrum(read_clip(path))))
        except HisswayError as e:
            self.tell(f"{e} The live excess is not shown here; take that clip back and record it again.", bad=True)
