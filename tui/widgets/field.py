"""A line of text in which keys act in the order they were pressed."""

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

    figure: bool = False
    """A question mark is no part of a figure: it asks for help."""

    def check_consume_key(self, key: str, character: str | None) -> bool:
        """Leave the help key alone where a figure is typed."""
        return not self._is_help(character) and super().check_consume_key(key, character)

    def _is_help(self, character: str | None) -> bool:
        return self.figure and character == "?"

    def take(self, event: events.Key) -> bool:
        """Type or edit at once; False for any other key."""
        if (edit := EDITS.get(event.key)) is not None:
            getattr(self, f"action_{edit}")()
        elif event.is_printable and event.character and not self._is_help(event.character):
            self.replace(event.character, *self.selection)
        else:
            return False
        return True

    async def _on_key(self, event: events.Key) -> None:
        if event.key in EDITS:
            event.stop()
            event.prevent_default()
            self.take(event)
            return
        if not self._is_help(event.character):
            await super()._on_key(event)
