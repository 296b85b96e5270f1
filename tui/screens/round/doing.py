"""What is under way in a round: a clip, a hands-free walk, the judging; and what became of the last one."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import TYPE_CHECKING

from listen.errors import HisswayError
from listen.jobs.events import ClipTakenBack
from listen.jobs.reference import declined
from tui.bridge.threads import in_thread
from tui.screens.round.course import Course, Outcome
from tui.widgets.ladder import Mark

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from listen.jobs.events import RoundImported
    from listen.jobs.folder.open_job import OpenJob
    from listen.jobs.job import ClipRecord
    from listen.jobs.walk import Step
    from tui.screens.round.host import Host

AFTER_TONE_S = 1.0
"""Between the tone and the clip: long enough that no tone is ever in a clip."""
MOST_REFUSALS = 2
"""Hands-free: after so many clips refused at one point somebody has to look."""


class Doing:
    """Runs one thing at a time for a round screen, and keeps its traces for the drawing."""

    def __init__(self, screen: Host) -> None:
        self._screen, services = screen, screen.bay.services
        self.course = Course(
            screen.listener, self._opened, services.analyst, services.renew, screen.show_count, self._marked
        )
        self.outcome: Outcome | None = None
        """What became of the last clip."""
        self.running: Step | None = None
        self.mark: Mark | None = None
        self.queued = False
        """The key was pressed while the last clip was being checked: go on at once."""
        self.judging = False
        self.walking = False
        """A hands-free walk is under way."""
        self.excess: dict[str, float | None] = {}
        """What the clip check found, by point, before there is a verdict."""
        self._tried: tuple[str, ...] = ()

    def _opened(self) -> OpenJob:
        opened = self._screen.bay.open_job
        assert opened is not None
        return opened

    def _marked(self, mark: Mark | None) -> None:
        self.mark = mark
        self._screen.refresh_round()

    def stop(self) -> None:
        """End what is under way."""
        self.walking, self.queued = False, False
        self.course.stop()

    async def take(self, step: Step) -> None:
        """One clip, and the next one if its key was pressed meanwhile."""
        while True:
            self.queued = False
            outcome = await self.clip(step, self._screen.bay.preferences.before_s)
            step = self._screen.step()
            if not (outcome.kept and self.queued and step.kind == "clip"):
                return

    async def clip(self, step: Step, before_s: float) -> Outcome:
        """Run one clip to its end and write down what became of it."""
        screen = self._screen
        self.running, self.outcome = step, None
        screen.begin(step)
        try:
            outcome = await self.course.run(screen.round_id, step, before_s, screen.bay.preferences.clip_s)
        finally:
            self.running = None
        self.outcome = outcome
        if outcome.clip and step.clip_kind == "air":
            self.excess[step.point] = outcome.excess_db
        screen.finished(outcome)
        if outcome.clip and not outcome.kept:
            screen.write(ClipTakenBack(clip=outcome.clip, reason=outcome.sentence))
        screen.refresh_round()
        return outcome

    async def walk(self, first: Step) -> None:
        """Lead through the rest of a walk by tones: move, tone, clip, tone."""
        prefs, sounds = self._screen.bay.preferences, self._screen.bay.services.tones(self._screen.bay.preferences)
        self.walking, refused, silent, step = True, 0, False, first
        self._screen.refresh_round()
        try:
            while self.walking and step.kind == "clip" and step.walk == first.walk and refused < MOST_REFUSALS:
                if not await self.course.pause(
                    f"walk to: {step.point.replace('-', ' ')}", prefs.move_s, "a tone, then the clip   Esc stops"
                ):
                    return
                await sounds.play("ready")
                if sounds.trouble and not silent:
                    silent = True
                    self._screen.tell(f"No tones: {sounds.trouble} Watch the countdown instead.", bad=True)
                outcome = await self.clip(step, AFTER_TONE_S)
                if outcome.stopped or outcome.lost:
                    return
                await sounds.play("kept" if outcome.kept else "again")
                refused = 0 if outcome.kept else refused + 1
                step = self._screen.step()
            await sounds.play("again" if refused else "done")
        finally:
            self.walking = False
            self._screen.show_count(None)
            self._screen.refresh_round()

    def judging_is_due(self) -> bool:
        """Whether the present clips have not been tried yet."""
        return not self.judging and self._tried != self._clips()

    def _clips(self) -> tuple[str, ...]:
        """What a result would rest on."""
        record = self._screen.record
        return (declined(record), *(c.id for c in record.live_clips()))

    async def judge(self) -> None:
        """Have the round judged, and keep the result."""
        from listen.jobs.judging import judged
        from listen.jobs.to_round import to_round

        opened = self._opened()
        self.judging, self._tried = True, self._clips()
        self._screen.refresh_round()
        try:
            job, round_id = opened.job, self._screen.round_id
            round_ = to_round(job, round_id, opened.folder)
            result = await asyncio.wrap_future(self._screen.bay.services.analyst().evaluate(round_))
            self.outcome = None
            self._screen.write(judged(job, round_id, result))
        except HisswayError as e:
            self.outcome = Outcome(False, f"{e} Space tries again.", lead="Not judged")
        except Exception as e:  # noqa: BLE001 - a fault in the analysis must not end the program
            self._screen.bay.services.renew()
            self.outcome = Outcome(
                False, f"the analysis failed ({type(e).__name__}). Space tries again.", lead="Not judged"
            )
        finally:
            self.judging = False
        self._screen.refresh_round()

    async def quiet_of(self, clip: str) -> NDArray[np.float64]:
        """Spectrum of a quiet clip, for the live meter."""
        from listen.audio.files import read_clip
        from listen.signal.live import quiet_spectrum

        path = self._opened().clip_path(clip)
        return await in_thread(lambda: quiet_spectrum(read_clip(path)))

    async def bring_in(self, place: Path) -> None:
        """Import clips recorded elsewhere, check each as if it had been recorded here, and say what came in."""
        opened, step = self._opened(), self._screen.step()
        before = {c.id for c in self._screen.record.clips}
        try:
            event = await in_thread(_bring_in, opened, self._screen.round_id, place, step)
        except HisswayError as e:
            self.outcome = Outcome(False, str(e), lead="Not imported")
            self._screen.refresh_round()
            return
        self._screen.bay.job = opened.job
        refused = [text for c in self._screen.record.clips if c.id not in before if (text := await self._refused(c))]
        self.outcome = Outcome(True, " ".join([_brought(event), *refused]))
        self._screen.refresh_round()

    async def _refused(self, clip: ClipRecord) -> str:
        """Check one imported clip; take it back and say why where it cannot be believed."""
        check = await self.course.check(self._screen.round_id, clip.kept.point, clip.kept.walk, clip.id)
        if check is None or check.kept:
            return ""
        reason = next((f.text for f in check.flags if f.reject), "it cannot be measured")
        self._screen.write(ClipTakenBack(clip=clip.id, reason=reason))
        return f"Taken back, {clip.kept.imported_from}: {reason}"


def _bring_in(opened: OpenJob, round_id: str, place: Path, step: Step) -> RoundImported:
    """A folder or a well-named file; any other file is the clip that is due."""
    from listen.errors import RoundError
    from listen.jobs.bring_in import bring_file, bring_in
    from listen.rounds.loose import take_named

    if place.is_file() and step.kind == "clip":
        try:
            take_named(place)
        except RoundError:
            return bring_file(opened, round_id, place, step.point, step.clip_kind, step.walk)
    return bring_in(opened, round_id, place)


def _brought(event: RoundImported) -> str:
    """What an import did, in one sentence."""
    text = f"{len(event.files)} clips imported."
    return f"{text} Left out: {'; '.join(event.left_out)}" if event.left_out else text
