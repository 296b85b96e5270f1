"""Who sits at this machine, and what was shown and played to them, until it is told to the job it belongs to."""

import secrets

from listen.jobs.events import NumbersShown, PairPlayed, Payload, SatDown
from listen.jobs.hearing import same_person


class Sitting:
    """From naming oneself until someone else does, or the program ends."""

    def __init__(self) -> None:
        self.name, self.role = "", ""
        self._begin()

    def _begin(self) -> None:
        self.id = secrets.token_hex(6)
        self._met: set[str] = set()
        """Jobs that know of this sitting in this role."""
        self._shown: dict[str, dict[tuple[str, str], bool]] = {}
        """By job: round and screen, and whether the job knows of it."""
        self._played: dict[str, list[PairPlayed]] = {}
        """By job: pairs the job does not know of yet."""

    def sit(self, name: str, role: str) -> None:
        """Someone says who they are; another person begins another sitting, with nothing shown to them yet."""
        if self.name and not same_person(name, self.name):
            self._begin()
        self.name, self.role = name, role
        self._met = set()

    def shown(self, job: str, rounds: tuple[str, ...], screen: str) -> None:
        """A screen shows numbers of these rounds."""
        known = self._shown.setdefault(job, {})
        for round_id in rounds:
            known.setdefault((round_id, screen), False)

    def has_seen(self, job: str, round_id: str) -> bool:
        """Whether numbers of a round were on the screen in this sitting."""
        return any(one == round_id for one, _ in self._shown.get(job, {}))

    def played(self, job: str, round_id: str, point: str, clips: tuple[str, ...]) -> None:
        """A pair was played to its end."""
        event = PairPlayed(sitting=self.id, name=self.name, round_id=round_id, point=point, clips=clips)
        self._played.setdefault(job, []).append(event)

    def due(self, job: str) -> tuple[Payload, ...]:
        """What the job has to be told before the next thing this person writes to it; nothing where nobody is named."""
        if not self.name:
            return ()
        sat = () if job in self._met else (SatDown(sitting=self.id, name=self.name, role=self.role),)
        screens: dict[str, list[str]] = {}
        for (round_id, screen), known in self._shown.get(job, {}).items():
            if not known:
                screens.setdefault(screen, []).append(round_id)
        shown = (
            NumbersShown(sitting=self.id, name=self.name, rounds=tuple(rounds), screen=screen)
            for screen, rounds in screens.items()
        )
        return (*sat, *shown, *self._played.get(job, ()))

    def job_knows(self, job: str) -> None:
        """What was due is told to the job."""
        if self.name:
            self._met.add(job)
            self._shown[job] = dict.fromkeys(self._shown.get(job, {}), True)
            self._played.pop(job, None)

    def job_missed(self, job: str, due: tuple[Payload, ...]) -> None:
        """What was due did not reach the job's journal: it is due again."""
        self._met.discard(job)
        self._shown[job] = dict.fromkeys(self._shown.get(job, {}), False)
        self._played.setdefault(job, [])[:0] = [p for p in due if isinstance(p, PairPlayed)]
