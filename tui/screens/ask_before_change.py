"""Before anything touches a judged or signed round: a question, and for a signed one the reason."""

from collections.abc import Iterable
from typing import Any

from listen.jobs.events import NoteAdded, Payload
from listen.jobs.job import Job, RoundRecord
from listen.voice.text import plain
from tui.screens.base import BayScreen
from tui.screens.dialog import OneLineScreen

GO_ON = [("y", "yes, go on", "what rests on it is judged again"), ("n", "no", "leave it as it is")]


def rounds_touched(job: Job, round_id: str | None, cylinder: int | None) -> tuple[RoundRecord, ...]:
    """Judged or signed rounds that something about a round, a cylinder or the whole job concerns."""
    concerned = (r for r in job.rounds if r.id == round_id or (round_id is None and cylinder in (None, r.cylinder)))
    return tuple(r for r in concerned if r.signed or (r.verdict is not None and not r.stale))


async def write_asking(screen: BayScreen[Any], touched: Iterable[RoundRecord], what: str, *payloads: Payload) -> bool:
    """Write events; where they touch judged rounds only after a yes, where signed ones only with a reason.

    False where they were not written.
    """
    rounds = tuple(touched)
    signed = [r for r in rounds if r.signed]
    notes: list[NoteAdded] = []
    if signed:
        names = " and ".join(dict.fromkeys(plain(r.signatures[-1].name, 40) for r in signed))
        title = f"{what}. {names} has signed; it will stand there as a change after signing. Why is it done?"
        if (reason := await screen.answer(OneLineScreen(title, most=200))) is None:
            return False
        words = f"{plain(what, 120)}: {plain(reason, 200)}"
        notes = [NoteAdded(round_id=r.id, cylinder=r.cylinder, text=words) for r in signed]
    elif rounds and await screen.pick(f"{what}. There is a verdict that rests on it. Go on?", GO_ON, keyed=True) != "y":
        return False
    return screen.write(*payloads, *notes)
