"""The keys that work here and now, on one line; what has no room is one key away in the help."""

from __future__ import annotations

from textual import events
from textual.binding import Binding
from textual.screen import Screen

from tui.widgets.cells import Cells
from tui.widgets.drawn import Drawn

GLYPHS = {
    "question_mark": "?",
    "f1": "F1",
    "escape": "Esc",
    "pagedown": "PgDn",
    "backspace": "Bksp",
    "slash": "/",
    "space": "Space",
    "enter": "Enter",
    "ctrl+s": "Ctrl+S",
    "ctrl+q": "Ctrl+Q",
}
LAST = ("back", "explain")
"""Actions that stand at the end and always have room."""


def key_words(binding: Binding) -> str:
    """How a key is called."""
    if binding.key == "f1":  # the help key where a question mark is text
        return "F1"
    return binding.key_display or GLYPHS.get(binding.key, binding.key)


def _action(binding: Binding) -> str:
    return binding.action.removeprefix("app.")


class KeyBar(Drawn):
    """Docked at the bottom; a click on a key's words presses it."""

    DEFAULT_CSS = "KeyBar { dock: bottom; height: 1; background: $panel; }"

    def on_mount(self) -> None:
        """Follow what is active."""
        self.screen.bindings_updated_signal.subscribe(self, self._changed)
        self._spots: list[tuple[int, int, str]] = []

    def _changed(self, _screen: Screen[object]) -> None:
        self.refresh()

    def draw_line(self, y: int, width: int) -> Cells:
        """Key, words, key, words ... and the help key always."""
        line, at = Cells(width, "plain"), 1
        self._spots = []
        keys = self._keys()
        tail = sorted((k for k in keys if _action(k) in LAST), key=lambda k: LAST.index(_action(k)))
        room = width - sum(len(key_words(k)) + len(k.description) + 3 for k in tail)
        for binding in [k for k in keys if k not in tail]:
            at = self._put(line, at, binding, room)
        for binding in tail:
            at = self._put(line, at, binding, width)
        return line

    def _keys(self) -> list[Binding]:
        seen: dict[str, Binding] = {}
        for active in self.screen.active_bindings.values():
            if active.binding.show and active.enabled:
                seen.setdefault(active.binding.action, active.binding)
        return list(seen.values())

    def _put(self, line: Cells, at: int, binding: Binding, end: int) -> int:
        key, words = key_words(binding), binding.description
        if at + len(key) + len(words) + 1 > end:
            return at
        start = at
        at = line.put(at, key, "warn") + 1
        at = line.put(at, words, "plain")
        self._spots.append((start, at, binding.action))
        return at + 2

    async def on_click(self, event: events.Click) -> None:
        """Press the key whose words were clicked."""
        for start, end, action in self._spots:
            if start <= event.x < end:
                await self.app.run_action(action, default_namespace=self.screen)
                return
