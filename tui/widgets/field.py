"""A line to be typed into, whose characters are typed before the next key comes."""

from textual import events
from textual.widgets import Input


class Field(Input):
    """An input that is offered a key at once, not through its queue."""

    figure: bool = False
    """A question mark is no part of a figure: it asks for help."""

    def check_consume_key(self, key: str, character: str | None) -> bool:
        """Leave the help key alone where a figure is typed."""
        return not (self.figure and character == "?") and super().check_consume_key(key, character)

    def take_key(self, event: events.Key) -> bool:
        """Type it; False for a key that types nothing."""
        types = self.check_consume_key(event.key, event.character)
        if types:
            self.replace(event.character or "", *self.selection)
        return types
