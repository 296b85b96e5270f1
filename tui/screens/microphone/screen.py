"""Microphone check: choose an input, see it live, and be told whether it is good for hiss."""

import time
from collections.abc import Callable
from functools import partial
from typing import TypeVar

from textual import on
from textual.binding import Binding
from textual.content import Content
from textual.widgets import Static

from listen.audio.files import read_part
from listen.errors import AudioError, DeviceLost, HisswayError
from listen.jobs.events import MicrophoneChecked
from listen.same_fields import same_fields
from listen.signal.clip import Clip
from listen.signal.quality_mic import MicReport, check_microphone, full_scale_db_spl
from listen.signal.spectra import spectra
from listen.temporary_folder import temporary_folder
from listen.voice.figures import number
from listen.voice.text import plain
from tui.bridge.listener import Listener
from tui.bridge.services import Input
from tui.bridge.threads import in_thread
from tui.content import shown
from tui.screens.base import BayScreen, asks, in_background
from tui.widgets.large import Count, Countdown
from tui.widgets.level_meter import LevelMeter
from tui.widgets.lines import Lines

T = TypeVar("T")
CHECK_S, CALIBRATE_S = 4.0, 3.0
MOST_TEXT = 600
"""Characters of what is said of a microphone."""
GLYPHS = {"good": ("✓", "$success"), "usable": ("!", "$warning"), "not-usable": ("×", "$error")}
CALIBRATORS = [("94", "94 dB, 1 kHz", "1 pascal"), ("114", "114 dB, 1 kHz", "10 pascal")]
BEFORE = (
    "Press Space: four seconds of the shop are recorded, looked at and forgotten. "
    "Knock on the bench once or twice meanwhile."
)


class MicrophoneScreen(BayScreen[None]):
    """Inputs, meter, answer."""

    HERE = "microphone check"
    OF_JOB = False
    CSS_PATH = "microphone.tcss"
    BODY = (
        partial(Static, "Inputs", classes="heading"),
        Lines,
        LevelMeter,
        Countdown,
        partial(Static, BEFORE, id="answer"),
    )
    AUTO_FOCUS = "Lines"
    BINDINGS = [
        Binding("space,enter,pagedown", "check", "Check", key_display="Space", priority=True),
        Binding("c", "calibrate", "Calibrate"),
        Binding("l", "again", "Look for inputs"),
    ]
    listener: Listener | None = None
    _inputs: tuple[Input, ...] = ()
    _chosen: str | None = None
    _checking = False
    _full_scale_db_spl: float | None = None
    """By a calibrator, if one was used."""

    def on_mount(self) -> None:
        self._chosen = self.bay.preferences.input_name
        self.query_one(LevelMeter).hush = "shown in a round, once there is a quiet clip"
        self.action_again()

    def on_unmount(self) -> None:
        if self.listener is not None:
            self.listener.close()

    @in_background("list")
    async def action_again(self) -> None:
        listed = self.query_one(Lines)
        try:
            self._inputs = await in_thread(self.bay.services.inputs)
        except HisswayError as e:
            self._inputs = ()
            self.refuse(e)
        lines = []
        for device in self._inputs:
            mark = "● " if device.name == self._chosen or (self._chosen is None and device.is_default) else "  "
            lines.append((device.name, f"{mark}{plain(device.name, 60)}   {device.more}"))
        listed.put(lines, self._chosen or "")
        if lines:
            listed.focus()
        self._listen()

    def _listen(self) -> None:
        if self.listener is not None:
            self.listener.close()
        name = self._chosen
        self.listener = Listener(lambda: self.bay.services.source(None, name))
        self.query_one(LevelMeter).listener = self.listener
        self.listener.start()

    @on(Lines.OptionHighlighted)
    def _highlighted(self, event: Lines.OptionHighlighted) -> None:
        # Not during a check: its seconds are one microphone's.
        if event.option.id != self._chosen and not self._checking:
            self._chosen = event.option.id
            self._answer(BEFORE, "")
            self._listen()

    def _answer(self, text: str, style: str) -> None:
        self.query_one("#answer", Static).update(shown(text, style))

    def refuse(self, error: HisswayError) -> None:
        self._answer(f"× {error}", "$error")

    def action_check(self) -> None:
        if not self._checking:
            self._check()

    @in_background("check")
    async def _check(self) -> None:
        report = await self._heard(lambda c: check_microphone(c, spectra(c)), "listening to the shop", CHECK_S)
        # Only once it was checked: moving along the list chooses nothing for the next round.
        self.bay.prefer(input_name=self._chosen)
        self.query_one("#answer", Static).update(_report(report, self._full_scale_db_spl))
        self._note(report)

    def _note(self, report: MicReport) -> None:
        """Keep the check in the open job, if there is one to write to."""
        opened = self.bay.open_job
        if opened is None or not opened.writable or self.listener is None or self.listener.source is None:
            return
        device, full_scale = self.listener.source.name, self._full_scale_db_spl
        said = same_fields(report, "rate_hz", "verdict", "text")
        self.write(MicrophoneChecked(device=device, full_scale_db_spl=full_scale, **said))

    async def _heard(self, look: Callable[[Clip], T], word: str, seconds: float) -> T:
        """Look at a few seconds, recorded under a countdown and thrown away; raises what that raises."""
        if (listener := self.listener) is None:
            raise AudioError("no input is chosen")
        countdown, end = self.query_one(Countdown), time.monotonic() + seconds

        def tick() -> None:
            countdown.count = Count(word, max(end - time.monotonic(), 0.0), seconds, live=True)

        # A count of its own: the recording waits in a thread, which draws nothing.
        timer = self.set_interval(0.1, tick)
        self._checking = True
        try:
            # As was promised: recorded, looked at and forgotten.
            with temporary_folder("hissway-mic-") as folder:
                await listener.record([folder / "check.part"], seconds)
                return await in_thread(lambda: look(read_part(folder / "check.part")))
        except DeviceLost as e:  # of a clip something would be kept, of a check nothing is
            raise DeviceLost(f"{listener.trouble}, then check again" if listener.trouble else str(e)) from e
        finally:
            timer.stop()
            self._checking = False
            countdown.count = None

    def under_way(self) -> str:
        return "the microphone is being listened to" if self._checking else ""

    @asks
    async def action_calibrate(self) -> None:
        title = "Seat the calibrator on the microphone and switch it on. Which level does it give?"
        if level := await self.pick(title, CALIBRATORS):
            self._measure(float(level))

    @in_background("check")
    async def _measure(self, level: float) -> None:
        try:
            full = await self._heard(lambda c: full_scale_db_spl(c, level), "listening to the calibrator", CALIBRATE_S)
        except HisswayError as e:
            self._answer(f"× Not calibrated: {e}", "$error")
            return
        self._full_scale_db_spl = full
        self._answer(f"✓ Calibrated by {level:.0f} dB: full scale is {number(full)} dB SPL.", "$success")


def _report(report: MicReport, full_scale_db_spl: float | None) -> Content:
    glyph, pen = GLYPHS[report.verdict]
    read = {
        "rate": f"{report.rate_hz / 1000:g} kHz",
        "bandwidth": f"{report.bandwidth_hz / 1000:.1f} kHz",
        "floor": f"{number(report.floor_dbfs, 0)} dBFS",
        "overload": "yes" if report.clipped else "none",
    }
    figures = [Content.assemble((f"{name} ", "$secondary"), words) for name, words in read.items()]
    lines = [shown(f"{glyph} {report.text}", f"bold {pen}", MOST_TEXT), Content("   ").join(figures)]
    lines += [shown(f"{'×' if f.reject else '!'} {f.text}", "$warning") for f in report.signs]
    if full_scale_db_spl is not None:
        lines.append(shown(f"full scale is {number(full_scale_db_spl)} dB SPL", "$secondary"))
    return Content("\n").join(lines)
