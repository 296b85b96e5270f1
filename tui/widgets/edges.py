"""The top line, where one is, and the keys that work now; what has no room there is one key away in the help."""

from rich.cells import cell_len
from textual import events
from textual.binding import Binding
from textual.reactive import reactive
from textual.screen import Screen

from listen.voice.figures import counted
from listen.voice.text import plain
from tui.widgets.drawn import Cells, Drawn

MIN_STEP = 8
"""Columns a step keeps at least."""


class TopBar(Drawn):
    """One line: the way here at the left, a remark at the right."""

    DEFAULT_CSS = "TopBar { dock: top; height: 1; background: $panel; }"

    way: reactive[tuple[str, ...]] = reactive[tuple[str, ...]](())
    remark: reactive[str] = reactive("")

    def draw_line(self, y: int, width: int) -> Cells:
        """Program, then the way; the remark and the last step keep their room, the title gives way."""
        line = Cells(width)
        at = line.put(1, "Hissway", "strong")
        end = width - len(self.remark) - 2
        steps = [plain(step) for step in self.way]
        for i, step in enumerate(steps):
            after = sum(cell_len(later) + 3 for later in steps[i + 1 :])
            at = line.put(at, " › ", "dim")
            at = line.put(at, step, "plain", max(end - after - at, MIN_STEP))
        line.put_right(width - 1, plain(self.remark), "warn")
        return line


NAMES = {
    "question_mark": "?",
    "escape": "Esc",
    "pagedown": "PgDn",
    "pageup": "PgUp",
    "up": "↑",
    "down": "↓",
    "left": "←",
    "right": "→",
    "backspace": "Bksp",
    "slash": "/",
}
"""Keys that are not called as Textual calls them, but for capitals."""
LAST = ("back", "explain")
"""Actions that stand at the end and always have room."""
MORE = "more key"
"""Words of the help key where not every key has room."""
TWO_LINES_FROM = 24
"""Lines of a screen from which the keys may take two."""
GAP = 2
"""Columns between two keys."""


def key_name(key: str) -> str:
    return NAMES.get(key) or (key.title() if len(key) > 1 else key)


def key_words(binding: Binding) -> str:
    """How a binding's key is called; the help key is F1 where a question mark is text."""
    return "F1" if binding.key == "f1" else binding.key_display or key_name(binding.key)


def _columns(bindings: list[Binding]) -> int:
    """Columns that keys and words take, the gap before each included."""
    return sum(len(key_words(k)) + 1 + len(k.description) + GAP for k in bindings)


def _fitting(bindings: list[Binding], columns: int) -> list[Binding]:
    """As many, from the first on, as have room; a long one leaves its room to shorter ones after it."""
    fitting: list[Binding] = []
    for binding in bindings:
        if _columns([*fitting, binding]) <= columns:
            fitting.append(binding)
    return fitting


def _action(binding: Binding) -> str:
    return binding.action.removeprefix("app.")


class KeyBar(Drawn):
    """Docked at the bottom; a click on a key's words presses it."""

    DEFAULT_CSS = "KeyBar { dock: bottom; height: 1; background: $panel; }"

    def on_mount(self) -> None:
        self._spots: list[tuple[int, int, int, str]] = []
        self.screen.bindings_updated_signal.subscribe(self, self._changed)

    def _changed(self, _screen: Screen[object]) -> None:
        two = self.screen.size.height >= TWO_LINES_FROM and _columns(self._keys()) > self.size.width
        self.styles.height = 1 + two  # as a class it would have all that is drawn here styled anew, key by key
        self._spots = []
        self.refresh()

    def on_resize(self) -> None:
        self._changed(self.screen)

    def draw_line(self, y: int, width: int) -> Cells:
        """Key, words, key, words ... and the help key always, with how many keys had no room."""
        line, at, keys = Cells(width), 1, self._keys()
        self._spots = [spot for spot in self._spots if spot[0] != y]
        tail = sorted((k for k in keys if _action(k) in LAST), key=lambda k: LAST.index(_action(k)))
        others = [k for k in keys if k not in tail]
        first = _fitting(others, width) if self.size.height > 1 else []
        rest = [k for k in others if k not in first]
        if first and y == 0:
            row, more = first, ""
        else:
            row, more = _fitting(rest, width - _columns(tail)), ""
            if len(row) < len(rest):
                # The help key then tells how many have none: room for the longest such words, in place of its own.
                row = _fitting(rest, width - _columns(tail) - len(counted(10, MORE)) + len("Help"))
                more = counted(len(rest) - len(row), MORE)
            row += tail
        for binding in row:
            at = self._put(line, y, at, binding, (_action(binding) == "explain" and more) or binding.description)
        return line

    def _keys(self) -> list[Binding]:
        seen: dict[str, Binding] = {}
        for active in self.screen.active_bindings.values():
            if active.binding.show and active.enabled:
                # By action: several keys that do one thing are told once, by the first.
                seen.setdefault(active.binding.action, active.binding)
        return list(seen.values())

    def _put(self, line: Cells, y: int, at: int, binding: Binding, words: str) -> int:
        start = at
        at = line.put(at, key_words(binding), "warn") + 1
        at = line.put(at, words, "plain")
        self._spots.append((y, start, at, binding.action))
        return at + GAP

    async def on_click(self, event: events.Click) -> None:
        for y, start, end, action in self._spots:
            if y == event.y and start <= event.x < end:
                await self.app.run_action(action, default_namespace=self.screen)
                return
