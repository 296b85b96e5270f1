"""Help: every key that works on the screen below, and what that screen is for, in a few lines."""

from __future__ import annotations

import inspect
from pathlib import Path

from textual.app import ComposeResult
from textual.binding import Binding
from textual.content import Content
from textual.screen import Screen
from textual.widgets import Static

from tui.screens.dialog import Dialog
from tui.widgets.edges import key_name

LEFT_OUT = {"tab", "shift+tab", "ctrl+c", "super+c", "ctrl+i"}
"""Keys every terminal program has."""
ARROWS = ("up", "down", "left", "right")
EVERYWHERE = ("Back", "Help", "Light or dark", "All commands", "To the shell, fg back", "Quit")
"""What is the same on every screen stands last."""
HALF, BESIDE = 35, 8
"""Columns of a key and its words where two stand beside each other, and of the box beside them."""


class HelpScreen(Dialog[None]):
    """Closes with any key that is not for scrolling."""

    BINDINGS = [
        ("escape,question_mark,q,enter,space", "dismiss", "Close"),
        ("down", "scroll(1)", "Down"),
        ("up", "scroll(-1)", "Up"),
    ]
    PEN = "bold $accent"

    def __init__(self, title: str, text: str, keys: list[tuple[str, str]]) -> None:
        super().__init__(title, "Esc closes")
        self._text, self._keys = text, keys

    @classmethod
    def of(cls, screen: Screen[object]) -> HelpScreen:
        """Keys of a screen, and what it is for: ``help.txt`` beside its module, or of the screen a dialog is about."""
        beside = (Path(inspect.getfile(type(s))).with_name("help.txt") for s in reversed(screen.app.screen_stack))
        title, _, text = next((p.read_text("utf-8") for p in beside if p.exists()), "Hissway").partition("\n")
        return cls(title, text.strip(), keys_of(screen))

    def body(self) -> ComposeResult:
        yield Static(Content("\n").join(key_lines(self._keys, self.app.size.width)), id="keys")
        # Line ends inside a paragraph are the file's, not the screen's.
        yield Static(Content("\n\n").join([Content(" ".join(part.split())) for part in self._text.split("\n\n")]))

    def action_scroll(self, by: int) -> None:
        self.query_one(".box").scroll_relative(y=by, animate=False)


def keys_of(screen: Screen[object]) -> list[tuple[str, str]]:
    """Keys and what they do, those of our own screens and widgets; what every list does stands in one line."""
    keys: dict[str, list[str]] = {}
    moves: list[str] = []
    for key, active in screen.active_bindings.items():
        words, action = active.binding.description, active.binding.action
        if not words or key in LEFT_OUT:
            continue
        if action.endswith("command_palette"):
            keys["All commands"] = [key_name(key)]
        elif _ours(type(active.node), action):
            keys.setdefault(words, []).append(key_name(key))
        elif key in ARROWS:
            moves.append(key_name(key))
    if moves:
        keys["move"] = moves
    rows = [(" ".join(k), words) for words, k in keys.items()]
    return sorted(rows, key=lambda row: row[1] in EVERYWHERE)


def _ours(node: type, action: str) -> bool:
    """Whether a class of ours gave this binding, not a list or a field it is made from."""
    own = [vars(c)["BINDINGS"] for c in node.__mro__ if c.__module__.startswith("tui.") and "BINDINGS" in vars(c)]
    return any(action == (b.action if isinstance(b, Binding) else b[1]) for bindings in own for b in bindings)


def key_lines(keys: list[tuple[str, str]], columns: int) -> list[Content]:
    """Two keys a line where the screen has room; a long one has its line for itself, at the top."""
    long = [k for k in keys if len(k[0]) + 2 + len(k[1]) > HALF or columns < 2 * HALF + BESIDE]
    short = [k for k in keys if k not in long]
    half = -(-len(short) // 2)
    lines = [Content.assemble(_key(*k)) for k in long]
    for i, (first, words) in enumerate(short[:half]):
        second = short[half + i] if half + i < len(short) else ("", "")
        gap = " " * (HALF - len(first) - 2 - len(words))
        lines.append(Content.assemble(_key(first, words), gap, _key(*second)))
    return lines


def _key(key: str, words: str) -> Content:
    return Content.assemble((key, "bold $accent"), f"  {words}" if words else "")
