"""Clips made fit for the ear, and the tones that lead."""

import asyncio
import threading

from listen.audio.lead import Lead
from listen.audio.lead import cue as made
from listen.audio.player import Player
from listen.errors import HisswayError
from listen.lab.ear.playback import comfortable_gain_db
from listen.signal.clip import Clip
from listen.signal.picture import hiss_band, level_matched
from tui.bridge.threads import in_thread

POLL_S = 0.03
"""Between two looks whether a sound is over."""
TONE_LIMIT_S = 2.0
"""A tone that has not ended by then is cut off, so that it cannot reach into a clip."""


def levelled(clips: list[Clip], *, hiss_only: bool = False, matched: bool = False) -> tuple[list[Clip], float]:
    """Clips band-passed and level-matched as asked, and one comfortable gain for all of them."""
    if hiss_only:
        clips = [hiss_band(c) for c in clips]
    if matched and len(clips) == 2:
        clips = list(level_matched(clips[0], clips[1]))
    return clips, comfortable_gain_db(*clips)


class Tones:
    """The tones of a walk that is led, each played to its end; without a loudspeaker silence stands in."""

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
        if self._player is None:
            return
        try:
            await in_thread(self._player.play, made(cue))
            end = asyncio.get_running_loop().time() + TONE_LIMIT_S
            while self._player.playing and asyncio.get_running_loop().time() < end:
                await asyncio.sleep(POLL_S)
            # Also where it has not ended: whatever hangs must not sound into the clip.
            self._player.stop()
            self.trouble = ""
        except HisswayError as e:
            self.trouble = str(e)
