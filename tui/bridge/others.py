"""What other programs write to the open job: looked for every second, shown, and told in a few words."""

from listen.errors import HisswayError
from listen.jobs.events import KIND_OF, Confirmed, Event, NumbersShown, Overruled, PairPlayed, SatDown
from listen.voice.text import plain
from tui.bridge.bay import Bay
from tui.bridge.threads import in_thread

LOOK_EVERY_S = 1.0
"""One look at a file's length and time: nothing on a disk, milliseconds on a share."""
UNTOLD = (SatDown, NumbersShown, PairPlayed)
"""Kept account of, and nobody's news."""
DECISIONS = (Confirmed, Overruled)
"""Told alike: which it was says what the numbers are."""


class Others:
    """Looks after the open job, whichever it is."""

    def __init__(self, app: Bay) -> None:
        self._app = app
        self._looking = False
        self._trouble = ""

    async def look(self) -> None:
        opened = self._app.open_job
        # On a slow share one look may take longer than a second: never two at once.
        if opened is None or self._looking:
            return
        self._looking = True
        try:
            await in_thread(opened.catch_up)
            trouble = ""
        except HisswayError as e:
            trouble = str(e)
        finally:
            self._looking = False
        # Another job was opened meanwhile: this one's news are nobody's any more.
        if opened is not self._app.open_job:
            return
        if trouble and trouble != self._trouble:
            self._app.tell(trouble, bad=True)
        self._trouble = trouble
        news = await in_thread(opened.take_news)
        if news and opened is self._app.open_job:
            self._app.job = opened.job
            if words := news_words(news):
                self._app.tell(words)


def news_words(news: tuple[Event, ...]) -> str:
    """Who did what elsewhere, without a figure or a verdict: someone may be listening blind here."""
    did: dict[str, dict[str, int]] = {}
    for event in news:
        if not isinstance(event.payload, UNTOLD):
            kinds = did.setdefault(plain(event.actor, 40) or "someone", {})
            kind = "decided" if isinstance(event.payload, DECISIONS) else KIND_OF.get(type(event.payload), "event")
            what = kind.replace("-", " ")
            kinds[what] = kinds.get(what, 0) + 1
    return " ".join(
        f"{who}, elsewhere: {', '.join(f'{n} × {what}' if n > 1 else what for what, n in kinds.items())}."
        for who, kinds in did.items()
    )
