"""A line of text in which editing keys act in the order they were pressed."""

from __future__ import annotations

from textual import events
from textual.widgets import Input

EDITS = {
    "backspace": "delete_left",
    "delete": "delete_right",
    "left": "cursor_left",
    "right": "cursor_right",
    "home": "home",
    "end": "end",
}


class Field(Input):
    """An input whose editing keys do not go round by the app's bindings, where a digit sent at once overtakes them."""

    async def _on_key(self, event: events.Key) -> None:
        """Edit at once; all else as ever."""
        if (edit := EDITS.get(event.key)) is not None:
            event.stop()
            event.prevent_default()
            getattr(self, f"action_{edit}")()
            return
        await super()._on_key(event)
