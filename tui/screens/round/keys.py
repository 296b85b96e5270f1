"""The keys of the Round screen, and what each does."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual import on
from textual.binding import Binding, BindingType

from listen.jobs.events import ClipTakenBack
from tui.screens.base import BayScreen
from tui.screens.rungs import neighbour_point
from tui.widgets.ladder import Ladder, Mark
from tui.widgets.panels import Acknowledged, ChoicePanel, EntryPanel

if TYPE_CHECKING:
    from listen.jobs.events import Payload
    from listen.jobs.job import RoundRecord
    from listen.jobs.walk import Step
    from tui.screens.round.answers import Answers
    from tui.screens.round.doing import Doing


class RoundKeys(BayScreen[None]):
    """Bindings and actions; :class:`RoundScreen` shows."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space,enter,pagedown", "go", "Record", key_display="Space"),
        Binding("backspace", "take_back", "Take back", key_display="Bksp"),
        Binding("s,ctrl+s", "skip", "Skip"),
        Binding("h", "hands_free", "Hands-free"),
        Binding("up", "aim(-1)", "Other point", show=False),
        Binding("down", "aim(1)", "Other point", show=False),
        Binding("e", "evidence", "Evidence"),
        Binding("v", "verdict", "Verdict"),
        Binding("t", "times", "Times"),
        Binding("i", "bring_in", "Import"),
        Binding("escape", "back", "Back", key_display="Esc"),
    ]

    round_id: str
    answers: Answers
    doing: Doing
    other: str = ""
    """Point chosen with the arrow keys or by the verdict; empty: the one that is due."""
    other_kind: str = ""
    """Clip kind asked for there; empty: that of the walk."""

    if TYPE_CHECKING:

        @property
        def record(self) -> RoundRecord: ...

        def step(self) -> Step: ...

        def judge(self) -> None: ...

        def refresh_round(self) -> None: ...

        def write(self, *events: Payload) -> bool: ...

        def numbers_may_be_seen(self) -> bool: ...

    def action_go(self) -> None:
        """The one key: record, acknowledge, judge again, or look at the verdict."""
        step = self.step()
        if self.doing.running is not None:
            self.doing.queued = self.doing.mark is Mark.CHECKING
        elif self.answers.asking or step.kind in ("bubbles", "call"):
            self.tell("Press one of the keys shown.")
        elif step.kind == "clip" and not self.doing.walking:
            self.start(partial(self.doing.take, step), "clip")
        elif step.kind == "caution":
            self.answers.acknowledged()
        elif step.kind == "verdict" and not self.doing.judging:
            self.judge()
        elif step.kind == "done":
            self.action_verdict()

    def action_hands_free(self) -> None:
        """Lead through this walk by tones."""
        step = self.step()
        if step.kind == "clip" and self.doing.running is None and not self.doing.walking:
            self.start(partial(self.doing.walk, step), "clip")
        elif not self.doing.walking:
            self.tell("Hands-free leads through a walk; the present step is not one.")

    def action_back(self) -> None:
        """Stop what is under way; else take the question back; else leave the round as it is."""
        if self.doing.running is not None or self.doing.walking:
            self.doing.stop()
        elif self.answers.drop():
            self.refresh_round()
        elif self.other:
            self.other, self.other_kind = "", ""
            self.refresh_round()
        else:
            super().action_back()

    def action_take_back(self) -> None:
        """Take back the last clip: of the chosen point, else of the round."""
        if self.doing.running is not None:
            self.doing.stop()
            return
        clips = self.record.live_clips(self.other or None)
        if not clips:
            self.tell("No clip to take back here.")
            return
        last = clips[-1]
        self.doing.outcome = None
        if self.write(ClipTakenBack(clip=last.id, reason="taken back")):
            self.tell(f"Taken back: {last.kept.point.replace('-', ' ')}, {last.kept.walk} walk. It stays on disk.")

    def action_skip(self) -> None:
        """Leave the step out; the reason is asked."""
        if self.doing.running is None and self.step().kind in ("clip", "supply", "loss", "bubbles", "call"):
            self.answers.ask_why_skip()
            self.refresh_round()

    def action_aim(self, by: int) -> None:
        """Choose another point."""
        if self.doing.running is not None or self.answers.asking:
            return
        points = tuple(r.point for r in self.query_one(Ladder).rungs)
        self.other, self.other_kind = neighbour_point(points, self.step().point, by), ""
        self.refresh_round()

    def action_evidence(self) -> None:
        """What a point's clips show."""
        from tui.screens.evidence.screen import EvidenceScreen

        if not self.numbers_may_be_seen():
            self.tell("The evidence is shown after your call by ear (or after declining it).")
            return
        point = self.step().point or next((c.kept.point for c in self.record.live_clips()), "")
        if not point:
            self.tell("No clips yet: nothing to look at.")
            return
        self.app.push_screen(EvidenceScreen(self.round_id, point))

    def action_verdict(self) -> None:
        """What the verdict rests on."""
        from tui.screens.verdict.screen import VerdictScreen

        if self.record.verdict is None:
            self.tell("There is no verdict yet: it comes when the walks are done.")
            return
        self.app.push_screen(VerdictScreen(self.round_id), self._go_to)

    def _go_to(self, wanted: tuple[str, str] | None) -> None:
        """Back from the verdict with a recording to make."""
        self.other, self.other_kind = wanted or ("", "")
        self.refresh_round()

    def action_times(self) -> None:
        """Lengths of clips and pauses."""
        from tui.screens.round.times import TimesScreen

        self.app.push_screen(TimesScreen())

    def action_bring_in(self) -> None:
        """Import clips recorded elsewhere."""
        from tui.screens.round.bring_in import BringInScreen

        self.app.push_screen(BringInScreen(), self._bring)

    def _bring(self, folder: Path | None) -> None:
        if folder is not None:
            self.start(partial(self.doing.bring_in, folder), "clip")

    @on(Ladder.Chosen)
    def _point_clicked(self, event: Ladder.Chosen) -> None:
        if self.doing.running is None and not self.answers.asking:
            self.other, self.other_kind = event.point, ""
            self.refresh_round()

    @on(Acknowledged)
    def _read(self) -> None:
        self.answers.acknowledged()

    @on(ChoicePanel.Chosen)
    def _chosen(self, event: ChoicePanel.Chosen) -> None:
        self.answers.chosen(event)

    @on(EntryPanel.Entered)
    def _entered(self, event: EntryPanel.Entered) -> None:
        self.answers.entered(event.values)
