"""What is shown and played to a person, told to the job; what had been before they decided about a round, by the
journal's own account; and what came to the round from elsewhere meanwhile."""

import secrets
from collections import Counter
from collections.abc import Iterable

from msgspec.structs import replace

from listen.jobs import events as ev
from listen.jobs.decision import Heard
from listen.jobs.job import ClipRecord, Job, RoundRecord


def same_person(a: str, b: str) -> bool:
    """Whether two typed names are the same but for capitals and spaces; nobody is the same as nobody."""
    return bool(a.strip()) and a.casefold().split() == b.casefold().split()


class Sitting:
    """Who sits at this machine, from naming oneself until someone else does, or the program ends; and what was shown
    and played to them, until it is told to the job it belongs to."""

    def __init__(self) -> None:
        self.name, self.role = "", ""
        self._begin()

    def _begin(self) -> None:
        self.id = secrets.token_hex(6)
        self._met: set[str] = set()
        """Jobs that know of this sitting in this role."""
        self._seen: set[tuple[str, str, str]] = set()
        """Job, round and screen."""
        self._untold: dict[str, list[ev.NumbersShown | ev.PairPlayed]] = {}
        """By job: what was shown and played and the job does not know of yet."""

    def sit(self, name: str, role: str) -> None:
        """Someone says who they are; another person begins another sitting, with nothing shown to them yet."""
        if self.name and not same_person(name, self.name):
            self._begin()
        self.name, self.role = name, role
        self._met = set()

    def shown(self, job: str, rounds: tuple[str, ...], screen: str) -> None:
        """A screen shows numbers of these rounds."""
        new = tuple(r for r in rounds if (job, r, screen) not in self._seen)
        self._seen.update((job, r, screen) for r in new)
        if new:
            shown = ev.NumbersShown(sitting=self.id, name=self.name, rounds=new, screen=screen)
            self._untold.setdefault(job, []).append(shown)

    def has_seen(self, job: str, round_id: str) -> bool:
        """Whether numbers of a round were on the screen in this sitting."""
        return any((job, round_id) == seen[:2] for seen in self._seen)

    def played(self, job: str, round_id: str, point: str, clips: tuple[str, ...]) -> None:
        """A pair was played to its end."""
        pair = ev.PairPlayed(sitting=self.id, name=self.name, round_id=round_id, point=point, clips=clips)
        self._untold.setdefault(job, []).append(pair)

    def due(self, job: str) -> tuple[ev.Payload, ...]:
        """What the job has to be told before the next thing this person writes to it; nothing where nobody is named."""
        if not self.name:
            return ()
        sat = () if job in self._met else (ev.SatDown(sitting=self.id, name=self.name, role=self.role),)
        # By the name of now: what was on the screen as someone named themselves they have seen.
        return (*sat, *(replace(p, name=self.name) for p in self._untold.get(job, ())))

    def job_knows(self, job: str) -> None:
        """What was due is told to the job."""
        if self.name:
            self._met.add(job)
            self._untold.pop(job, None)

    def job_missed(self, job: str, due: tuple[ev.Payload, ...]) -> None:
        """What was due did not reach the job's journal: it is due again, before what came since."""
        self._met.discard(job)
        self._untold.setdefault(job, [])[:0] = [p for p in due if isinstance(p, ev.NumbersShown | ev.PairPlayed)]


def heard(record: RoundRecord, name: str, sitting: str) -> Heard:
    """How someone who decides in ``sitting`` has heard the round until now.

    Pairs count where they were played in this sitting, of clips that no later one has replaced, and a call where no
    clip came after it: what a round was sent back for has to be heard itself. Numbers count wherever they were shown
    to this person, however long ago: what was seen cannot be unseen.
    """
    if not sitting:
        return Heard()
    called, before = first_call(record, name, sitting)
    played = [p for p in record.played if p.sitting == sitting]
    return Heard(
        recorded=True,
        pairs=tuple(sorted(Counter(p.point for p in played if _of_now(record, p)).items())),
        pairs_before_call=sum(_of_now(record, p) for p in played[:before]),
        called=called,
        numbers_first=called is None or not called.before_numbers,
    )


def first_call(record: RoundRecord, name: str, sitting: str) -> tuple[ev.ByEarCalled | None, int]:
    """This person's first call as supervisor in this sitting since the last clip came; pairs played to them before."""
    for call, (pairs, clips) in zip(record.calls, record.before_calls, strict=True):
        mine = call.role == "supervisor" and call.sitting == sitting and same_person(call.name, name)
        if mine and clips == len(record.clips):
            return call, pairs
    return None, 0


def pair_at(record: RoundRecord, point: str) -> tuple[ClipRecord, ...]:
    """The clips heard against each other at a point: the last quiet and air clip, or one switched take; else none.

    Where the quiet walk has none any more the closing one's is heard.
    """
    first, closing, air, switched = (
        record.live_clips(point, walk)[-1:] for walk in ("quiet", "closing", "air", "switched")
    )
    quiet = first or closing
    pairs = [pair for pair in (quiet + air if quiet and air else (), switched) if pair]
    return max(pairs, key=lambda pair: max(map(record.clips.index, pair)), default=())


def _of_now(record: RoundRecord, played: ev.PairPlayed) -> bool:
    """Whether what was played is what is there to be heard at the point now."""
    return bool(played.clips) and set(played.clips) == {c.id for c in pair_at(record, played.point)}


def numbers_seen(record: RoundRecord, name: str, sitting: str) -> bool:
    """Whether numbers of the round have been shown to this person, in this sitting or any before."""
    return any(s.sitting == sitting or same_person(s.name, name) for s in record.shown)


def recorded_by(job: Job, record: RoundRecord, name: str) -> bool:
    """Whether this person recorded clips of the round, or is the tech who recorded it."""
    actors = {c.event.actor for c in record.clips} | {c.name for c in record.calls if c.role == "tech"}
    # Where no clip says who took it, any tech who sat down may have.
    techs = {s.name for s in job.sat if s.role == "tech"} if not any(actors) else set()
    # Names, not accounts: a machine on a bench is used by whoever stands there.
    return any(same_person(name, who) for who in (*actors, *techs, job.people.get("tech", "")))


def unseen(known: Job, now: Job, payloads: Iterable[ev.Payload]) -> str:
    """One sentence where one of the events stands on a round that is not as it was known; empty where all are."""
    for payload in payloads:
        if not isinstance(payload, ev.Confirmed | ev.Overruled | ev.SentBack | ev.Signed | ev.Judged):
            continue
        before, after = known.find_round(payload.round_id), now.find_round(payload.round_id)
        if before is not None and after is not None and (what := news(before, after)):
            return f"cylinder {after.cylinder}: meanwhile {what}; nothing was written, look again"
    return ""


def news(before: RoundRecord, after: RoundRecord) -> str:
    """What touched a round or was signed between two states of it, in a few words; empty where nothing did."""
    touched = [f"{c.what} by {c.event.actor or 'someone unnamed'}" for c in after.touches[len(before.touches) :]]
    signed = [f"signed by {s.name}" for s in after.signatures[len(before.signatures) :]]
    return ", ".join(dict.fromkeys((*touched, *signed)))
