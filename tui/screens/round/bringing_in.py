"""Clips recorded elsewhere, brought into a round: named by their files or in a list, and checked as if taken here."""

from collections.abc import Sequence
from functools import partial
from pathlib import Path

from listen.jobs.bring_in import Recording, as_due, bring_in, recordings_in
from listen.jobs.events import ClipTakenBack
from listen.jobs.job import ClipRecord
from listen.voice.figures import counted
from tui.bridge.threads import in_thread
from tui.screens.base import asks, in_background, made
from tui.screens.dialog import OneLineScreen
from tui.screens.photos.screen import file_named, is_there
from tui.screens.round.asking import Asking
from tui.screens.round.now import Outcome
from tui.screens.round.taker import refusal

ABOUT_IMPORT = (
    "A folder of recordings from a phone or a field recorder, or one file. Whatever the files are called: they are "
    "listed in order of time, and you say by keys which is which, hearing each; one long recording is cut at marks. "
    "One short file is the clip that is due; files named by point and kind (intake-quiet-1.wav, intake-air-1.wav, "
    "intake-quiet-2.wav) come in at once."
)


class BringingIn(Asking):
    """A bench that takes in recordings."""

    @asks
    async def action_bring_in(self) -> None:
        hint = "folder or file, for example ~/recordings/cylinder-3"
        title = "Import clips recorded elsewhere"
        if name := await self.answer(OneLineScreen(title, how=ABOUT_IMPORT, hint=hint, most=4000, take=is_there)):
            self._bring(file_named(name))

    @in_background("clip")
    async def _bring(self, place: Path) -> None:
        """Bring in what is named by its files' names; the rest is named in a list first."""
        found = await in_thread(recordings_in, place)
        step, points = self.step(), self.view.walk.points
        due = (step.point, step.walk) if step.kind == "clip" else ("", "")
        if found.named or (one := as_due(found, [p.id for p in points], due)):
            await self._take_in(found.recordings if found.named else one)
        elif recordings := await self.answer(made("naming", found, points, step)):
            await self._take_in(recordings)

    async def _take_in(self, recordings: Sequence[Recording]) -> None:
        """Import clips recorded elsewhere, check each as if it had been recorded here, and say what came in."""
        before = {c.id for c in self.record.clips}
        event = await self.bay.written(partial(bring_in, self.opened, self.round_id, recordings))
        new = [c for c in self.record.clips if c.id not in before]
        refused = [text for c in new if (text := await self._refused(c))]
        said = f"{counted(len(event.files), 'clip')} imported."
        left_out = [f"Left out: {'; '.join(event.left_out)}"] if event.left_out else []
        self.change(outcome=Outcome(True, " ".join([said, *left_out, *refused])))

    async def _refused(self, clip: ClipRecord) -> str:
        """Check one imported clip; take it back and say why where it cannot be believed."""
        check = await self.taker.check(clip.kept.point, clip.kept.walk, clip.id)
        if check is None or check.kept:
            return ""
        self.write(ClipTakenBack(clip=clip.id, reason=refusal(check)))
        return f"Taken back, {clip.kept.imported_from}: {refusal(check)}"
