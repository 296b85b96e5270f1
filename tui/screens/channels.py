"""Channels: which microphone lies where, by tapping each when its point is asked for; kept for the next cylinder."""

from collections.abc import Sequence

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding
from textual.content import Content
from textual.widgets import Static

from listen.signal.channels import tapped
from listen.voice.names import point_name
from tui.bridge.listener import Listener
from tui.content import shown
from tui.screens.dialog import Dialog

LOOK_S = 0.1
HEARD_S = 1.2
"""Sound in which a tap is looked for."""
REST_S = 0.8
"""After a tap: its ringing, and the same finger on its way."""
SIMULATED_AFTER_S = 1.5
DIGITS = tuple("0123456789")
NEIGHBOUR = "plug-hole-"
ASK = "Which microphone lies where? Tap each one twice when its point is asked for."
HOW = "Digits name a channel (1 to {}) instead   s no microphone there   Backspace the one before   Esc leaves"


class ChannelsScreen(Dialog[tuple[str, ...]]):
    """Dismisses with the point of each channel; with None where it was left."""

    BINDINGS = [
        Binding("s", "none", "No microphone there"),
        Binding("backspace", "undo", "The one before again"),
    ]

    def __init__(self, listener: Listener, points: tuple[str, ...]) -> None:
        super().__init__(ASK, HOW.format(listener.channels))
        self._listener, self._points = listener, points
        self._given: list[int | None] = []
        """Channel of each point so far; None: no microphone there."""
        self._rest_s = REST_S
        self._waited_s = 0.0
        self._notice = ""
        self._first_digit = False
        """Whether a 1 was typed that may yet become 10 to 16."""

    def body(self) -> ComposeResult:
        yield Static(id="places")

    def on_mount(self) -> None:
        self.set_interval(LOOK_S, self._look)
        self._show()

    def _look(self) -> None:
        self._rest_s = max(0.0, self._rest_s - LOOK_S)
        self._waited_s += LOOK_S
        if self._waited_s >= SIMULATED_AFTER_S:
            # For the demo: a simulated microphone waits for no finger, a real one does nothing here.
            self._listener.tap(len(self._given))
            self._waited_s = 0.0
        found = self._listener.recent(HEARD_S)
        if found is None or self._rest_s:
            self._show()
        elif (channel := tapped(*found)) is not None:
            self._give(channel)

    def _give(self, channel: int | None) -> None:
        self._first_digit = False
        if channel is not None and channel in self._given:
            where = point_name(self._points[self._given.index(channel)])
            self._notice = f"channel {channel + 1} lies at the {where} already"
        elif channel is not None and channel >= self._listener.channels:
            self._notice = f"this input has {self._listener.channels} channels"
        elif channel is None and self._given == [None] * (len(self._points) - 1):
            self._notice = "one point at least needs a microphone"
        else:
            self._given.append(channel)
            self._notice, self._rest_s, self._waited_s = "", REST_S, 0.0
        if len(self._given) < len(self._points):
            self._show()
            return
        at = dict(zip(self._given, self._points, strict=True))
        self.dismiss(tuple(at.get(channel, "") for channel in range(self._listener.channels)))

    def _show(self) -> None:
        lines = []
        for i, point in enumerate(self._points):
            if i < len(self._given):
                given = self._given[i]
                lines.append(shown(f"  ✓ {point_name(point)}: {'none' if given is None else f'channel {given + 1}'}"))
            elif i == len(self._given):
                lines.append(shown(f"  ► {point_name(point)}: tap its microphone now", "bold $primary"))
            else:
                lines.append(shown(f"  · {point_name(point)}", "$secondary"))
        most = self._listener.channels
        typed = f"channel 1 ... a digit more for 10 to {most}, or Enter for channel 1" if self._first_digit else ""
        lines.append(shown(typed or self._notice or self._listener.trouble or "", "$warning"))
        self.query_one("#places", Static).update(Content("\n").join(lines))

    def take_key(self, event: events.Key) -> bool:
        """Digits name a channel. No time limit tells 1 from 10: a slow hand in a glove would get the wrong one."""
        typed = event.character or ""
        if self._first_digit and event.key == "enter":
            self._give(0)
        elif typed in DIGITS and self._first_digit:
            self._give(9 + int(typed))
        elif typed == "1" and self._listener.channels >= 10:
            self._first_digit = True
            self._show()
        elif typed in DIGITS and typed != "0":
            self._give(int(typed) - 1)
        else:
            return super().take_key(event)
        return True

    def action_none(self) -> None:
        self._give(None)

    def action_undo(self) -> None:
        if self._first_digit:
            self._first_digit = False
        elif self._given:
            self._given.pop()
        self._show()


def for_these(kept: Sequence[str], points: Sequence[str]) -> tuple[str, ...]:
    """Places of an earlier cylinder as those of ``points``: the first neighbour's plug hole for the first, and so on.

    Empty where they do not cover just these points.
    """

    def holes(places: Sequence[str]) -> list[str]:
        return sorted({p for p in places if p.startswith(NEIGHBOUR)}, key=lambda p: int(p.removeprefix(NEIGHBOUR)))

    old, new = holes(kept), holes(points)
    if len(old) != len(new):
        return ()
    moved = dict(zip(old, new, strict=True))
    found = tuple(moved.get(p, p) for p in kept)
    return found if {p for p in found if p} <= set(points) and any(found) else ()
