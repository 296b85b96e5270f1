"""Keys act in the order they were sent: several in one go reach what the first of them opened, changed or left."""

import asyncio
import time
from inspect import iscoroutinefunction
from typing import TypeVar

from textual import events
from textual.actions import SkipAction, parse
from textual.app import App
from textual.dom import DOMNode
from textual.message_pump import MessagePump
from textual.screen import Screen
from textual.widget import Widget

R = TypeVar("R")
TOLD_WITHIN_S = 1.0
"""Longest that a key waits for what the one before it did; set by judgement: only a widget that was taken away tells
nothing."""


class OrderedKeys(Screen[R]):
    """A screen that acts on a key before it waits in a widget's queue, where others would overtake it."""

    _told_by_s = 0.0
    """When what the last key did is told at the latest."""
    _asked: Widget | None = None
    """The widget that had the keys when it was last asked for."""

    def ready_for_key(self) -> bool:
        """Whether the screen is made, what the key before did was told to all around it, and the widget with the keys
        knows that it has them: a line that is told later would select, and so replace, what was typed into it."""
        if self.is_mounted and self.focused is not self._asked:
            self._wait_for(self.focused)
        return self.is_mounted and time.monotonic() >= self._told_by_s

    def _wait_for(self, on: Widget | None) -> None:
        self._asked, self._told_by_s = on, time.monotonic() + TOLD_WITHIN_S
        self._pass_on(on or self, again=True)

    def take_key(self, event: events.Key) -> bool:
        """Act on a key at once; False where it is to go the usual way, into the queue of the widget one is on.

        First what comes before all else here, then the widget, then what it stands in, this screen and the program.
        """
        on = self.focused
        self._wait_for(on)
        if self._act(self, event, first=True):
            return True
        for node in (on or self).ancestors_with_self:
            take = None if node is self else getattr(node, "take_key", None)
            if (take is not None and take(event)) or self._act(node, event):
                return True
            if node is on and on.check_consume_key(event.key, event.character):
                return False
        return False

    def _pass_on(self, node: MessagePump, *, again: bool = False) -> None:
        """Once all that waits in a widget's queue is worked off it waits in the queue of what the widget stands in."""
        if again:
            node.call_later(self._pass_on, node)
        elif node is self:
            self._told_by_s = 0.0
        elif isinstance(node, DOMNode) and node.parent is not None:
            self._pass_on(node.parent, again=True)

    def _act(self, node: DOMNode, event: events.Key, *, first: bool = False) -> bool:
        """Do what a key is bound to in a widget, this screen or the program; False where that is nothing now."""
        for binding in node._bindings.key_to_bindings.get(event.key, ()):
            space, name, parameters = parse(binding.action)
            target = {"app": self.app, "screen": self}.get(space, node)
            action = getattr(target, f"action_{name}", None)
            # What awaits cannot be done at once: it goes the usual way, through the queue.
            if action is None or iscoroutinefunction(action) or (first and not binding.priority):
                continue
            if target.check_action(name, parameters):
                try:
                    action(*parameters)
                except SkipAction:  # Textual's own, as copying text with Ctrl+C where nothing is marked
                    return False
                return True
        return False


class OrdersKeys(App[None]):
    """An application that offers keys to its screen first, one after the other; all else as ever."""

    async def on_event(self, event: events.Event) -> None:
        taken = isinstance(event, events.Key) and not event.is_forwarded and await self._offered(event)
        if not taken:
            await super().on_event(event)

    async def _offered(self, key: events.Key) -> bool:
        # Of keys typed in one go the first may open a screen: the others are meant for it, and wait until it is made.
        while self.screen_stack and not self._exit:
            screen = self.screen
            if screen.ready_for_key() if isinstance(screen, OrderedKeys) else screen.is_mounted:
                break
            await asyncio.sleep(0)
        if not self.screen_stack:  # the program is on its way out: nobody is there to take it
            return True
        return isinstance(self.screen, OrderedKeys) and self.screen.take_key(key)
