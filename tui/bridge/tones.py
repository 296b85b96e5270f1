"""The short tones of a hands-free walk; without a loudspeaker the terminal's bell, or silence, stands in."""

from __future__ import annotations

import asyncio
import threading
from typing import TYPE_CHECKING

from listen.errors import HisswayError
from tui.bridge.threads import in_thread

if TYPE_CHECKING:
    from listen.audio.lead import Lead
    from listen.audio.player import Player

LIMIT_S = 2.0
"""A tone that has not ended by then is cut off, so that it cannot reach into a clip."""
POLL_S = 0.02


class Tones:
    """Plays a tone to its end."""

    def __init__(self, player: Player | None) -> None:
        self._player = player
        self.trouble = ""
        """Why no tone is heard; empty while they are."""

    def lead(self, lead: Lead, over: threading.Event) -> None:
        """Give the commands of a switched take by tones, from now until it is over; returns at once."""
        if self._player is not None:
            threading.Thread(target=lead.sound, args=(self._player, over), name="lead", daemon=True).start()

    async def play(self, cue: str) -> None:
        """Sound ``ready``, ``kept``, ``again`` or ``done``, and wait until it is silent again."""
        from listen.audio.lead import cue as made

        if self._player is None:
            return
        try:
            await in_thread(self._player.play, made(cue))
            end = asyncio.get_running_loop().time() + LIMIT_S
            while self._player.playing and asyncio.get_running_loop().time() < end:
                await asyncio.sleep(POLL_S)
            self._player.stop()
            self.trouble = ""
        except HisswayError as e:
            self.trouble = str(e)
