"""A job as one frozen value, and the questions a screen asks of it."""

from collections.abc import Callable, Collection

import msgspec
from msgspec.structs import replace

from listen.jobs import events as ev
from listen.jobs.decision import Decision, asked_step
from listen.trade.engine import Engine, layout
from listen.trade.facts import core
from listen.voice.times import moment


class ClipRecord(msgspec.Struct, frozen=True, kw_only=True):
    """One clip of a round, as the journal has it."""

    event: ev.Event
    kept: ev.ClipKept
    taken_back: bool = False
    reason: str = ""
    """Why it was taken back."""

    @property
    def id(self) -> str:
        return self.kept.clip


class PhotoRecord(msgspec.Struct, frozen=True, kw_only=True):
    event: ev.Event
    kept: ev.PhotoKept
    taken_back: bool = False


class Change(msgspec.Struct, frozen=True, kw_only=True):
    """One event that touched what a signature covers."""

    event: ev.Event
    what: str
    """In a few words."""
    not_seen_by: tuple[str, ...] = ()
    """Who had signed without having it before them; empty where it came after they had signed."""
    signed_over: str = ""
    """Who signed again with this before them, by a signature as strong as those before; empty where nobody did."""

    @property
    def sentence(self) -> str:
        again = f"; signed again by {self.signed_over}" if self.signed_over else ""
        text = f"{self.what}, by {self.event.actor or 'unnamed'}, {moment(self.event.time)}{again}"
        if self.not_seen_by:
            return f"not seen by {' and '.join(self.not_seen_by)}: {text}"
        return f"changed after signing: {text}"


class RoundRecord(msgspec.Struct, frozen=True, kw_only=True):
    """Everything of one round on one cylinder."""

    id: str
    cylinder: int
    title: str = ""
    opened: str = ""
    aside: bool = False
    """True where the round was set aside: it does not count for its cylinder."""
    cautions: tuple[str, ...] = ()
    steps_left_out: dict[str, str] = {}
    """Steps left out on purpose, with the reason."""
    clips: tuple[ClipRecord, ...] = ()
    """In the order kept, taken-back ones included."""
    skips: tuple[ev.PointSkipped, ...] = ()
    """Points left out of a walk, or of all, and not taken up again."""
    calls: tuple[ev.ByEarCalled, ...] = ()
    revealed: bool = False
    """Whether the tech's call by ear was ever made or left out, even if that was taken back: from then on the screen
    showed what was measured."""
    before_calls: tuple[tuple[int, int], ...] = ()
    """Of each call: how many pairs had been played in its sitting before it, and how many clips had been kept."""
    air_followed: str = ""
    """Whether the tester's needle followed the valve: ``yes``, ``no``, ``not-looked``; empty: not asked yet."""
    bubbles: str = ""
    """``yes``, ``no``, ``not-looked``, or empty while not asked."""
    loss_again: float | None = None
    """Loss read when top dead centre was found again, percent."""
    judged: tuple[ev.Judged, ...] = ()
    readings_changed: bool = False
    """True where a reading of this round or cylinder came in after the latest result."""
    decisions: tuple[Decision, ...] = ()
    """What persons said of the verdict, in order."""
    shown: tuple[ev.NumbersShown, ...] = ()
    played: tuple[ev.PairPlayed, ...] = ()
    signatures: tuple[ev.Signed, ...] = ()
    signed_at: tuple[int, ...] = ()
    changes: tuple[Change, ...] = ()
    """What touched the signed round after it was signed, or had not been seen by whoever signed; all of it."""
    touches: tuple[Change, ...] = ()
    """Each event that touched the round."""

    @property
    def begun(self) -> bool:
        """Whether anything was done in it: one that was only opened to be looked at is none yet."""
        done = self.cautions, self.steps_left_out, self.clips, self.skips, self.calls, self.bubbles, self.air_followed
        return any(done) or bool(self.judged or self.decisions or self.signatures)

    @property
    def numbers_shown(self) -> bool:
        """Whether numbers stood on the tech's screen, by the journal: it was revealed, and there was air to measure."""
        return self.revealed and any(c.kept.clip_kind != "quiet" for c in self.clips)

    @property
    def signed(self) -> bool:
        """Whether the round is closed."""
        return bool(self.signatures)

    @property
    def changed_after_signing(self) -> tuple[str, ...]:
        """One sentence for each change under which nobody has signed since."""
        return tuple(c.sentence for c in self.changes if not c.signed_over)

    @property
    def verdict(self) -> ev.Judged | None:
        """The latest stored result."""
        return self.judged[-1] if self.judged else None

    @property
    def open_decisions(self) -> tuple[Decision, ...]:
        """Decisions that no later one settles, the one that counts last: more than one where machines were apart.

        A decision held by a key's signature counts before one held by a typed name, that before an unsigned one;
        of equals the later counts.
        """
        # A union of none needs a set to begin with.
        settled = frozenset[str]().union(*(d.settles for d in self.decisions))
        left = (d for d in self.decisions if d.event.id not in settled)
        return tuple(sorted(left, key=lambda d: (d.authority, d.event.time, d.event.id)))

    @property
    def decision(self) -> Decision | None:
        """The decision that counts."""
        return self.open_decisions[-1] if self.decisions else None

    @property
    def stale(self) -> bool:
        """True where clips or readings of the round changed since the latest result."""
        return bool(self.judged) and (self.readings_changed or self.clips_changed)

    @property
    def clips_changed(self) -> bool:
        """True where other clips are in use than the latest result was made of."""
        if not self.judged:
            return False
        own = {c.id: c.kept.point for c in self.live_clips() if c.kept.clip_kind != "sound"}
        # As `jobs.reference` counts them: the last at a point, of those recorded here; it follows what others lend.
        sound = {c.kept.point: c.id for c in self.live_clips() if c.kept.clip_kind == "sound"}
        # A sound cylinder's clip counts only at points where this round has clips of its own.
        in_use = own.keys() | {clip for point, clip in sound.items() if point in own.values()}
        return in_use != {c.id for c in self.clips} & set(self.judged[-1].clips)

    def live_clips(self, point: str | None = None, walk: str | None = None) -> tuple[ClipRecord, ...]:
        """Clips in use, in the order kept, of one point or walk if asked."""
        return tuple(
            c for c in self.clips if not c.taken_back and point in (None, c.kept.point) and walk in (None, c.kept.walk)
        )

    def has_what_was_asked(self, asked: Decision) -> bool:
        """Whether the clip that a decision sent the round back for came since, or was left out with a reason."""
        what, since = asked.payload, self.clips[asked.clips_before :]
        assert isinstance(what, ev.SentBack)
        wanted = (what.point, what.clip_kind)
        return asked_step(asked) in self.steps_left_out or any(
            (c.kept.point, c.kept.clip_kind) == wanted and not c.taken_back for c in since
        )

    def skip(self, point: str, walk: str) -> ev.PointSkipped | None:
        """The skip that leaves this point out of this walk, if any."""
        return next((s for s in self.skips if s.point == point and s.walk in ("", walk)), None)

    def call(self, role: str = "tech") -> ev.ByEarCalled | None:
        """The first by-ear call of that role: the one made before numbers were shown counts."""
        return next((c for c in self.calls if c.role == role), None)

    def noting(self, event: ev.Event, what: str = "") -> "RoundRecord":
        """The round with a note that an event concerned it, in words if the kind alone says too little.

        On a signed round that is a change since, unless whoever signed had not seen it: then that is told.
        """
        change = Change(event=event, what=what or event.kind.replace("-", " "))
        noted = replace(self, touches=(*self.touches, change))
        if not self.signed:
            return noted
        # Knowing any signature is enough: then it was changed under the eyes of whoever signed.
        knew = any(event.knew_of(place) for place in self.signed_at)
        unseen_by = () if knew else tuple(dict.fromkeys(s.name for s in self.signatures))
        return replace(noted, changes=(*self.changes, replace(change, not_seen_by=unseen_by)))


class Job(msgspec.Struct, frozen=True, kw_only=True):
    """The fold of a job's events."""

    id: str = ""
    title: str = ""
    shop: str = ""
    complaint: str = ""
    cautions: tuple[str, ...] = ()
    """Cautions acknowledged for the whole job: before cranking, before a wet test."""
    simulated: bool = False
    way: str = ""
    """How rounds are taken; empty: nobody was asked yet, and they are walked."""
    pressure_unit: str = "kPa"
    engine: Engine = msgspec.field(default_factory=lambda: layout("inline-4"))
    size: ev.EngineSize = ev.EngineSize()
    details: dict[str, str] = {}
    """Fields of the job card by identifier; those left empty are not there."""
    people: dict[str, str] = {}
    """Name by role; the latest of each."""
    sat: tuple[ev.SatDown, ...] = ()
    """Who sat down to this job, in order."""
    readings: tuple[ev.ReadingEntered, ...] = ()
    """All, in order; the latest of a kind counts."""
    plugs: dict[int, ev.PlugSeen] = {}
    symptoms: dict[int | None, tuple[str, ...]] = {}
    """Identifiers by cylinder, in order noted; under None those of the whole engine."""
    asked: dict[int | None, tuple[str, ...]] = {}
    """And of those that were asked about, whatever the answer."""
    checks: tuple[ev.CheckMade, ...] = ()
    """Checks made, each with its latest outcome."""
    notes: tuple[ev.Event, ...] = ()
    photos: tuple[PhotoRecord, ...] = ()
    """In the order kept, taken-back ones included."""
    microphone: ev.MicrophoneChecked | None = None
    calibrations: dict[str, float] = {}
    """Sound pressure level of full scale by input, from the latest calibrator on each, dB re 20 micropascal."""
    rounds: tuple[RoundRecord, ...] = ()
    findings: dict[int, ev.FindingRecorded] = {}
    """Latest finding at teardown, by cylinder."""
    before_finding: dict[int, tuple[RoundRecord, ...]] = {}
    """A cylinder's rounds as they stood when its first finding came in: what was said without knowing."""

    troubles: tuple[str, ...] = ()
    """Sentences about the journal itself: events not understood, a mended end, an event that names nothing we have."""
    opened: str = ""
    changed: str = ""
    events: int = 0

    def round(self, round_id: str) -> RoundRecord:
        """Look a round up. Raises KeyError: no such round."""
        if (record := self.find_round(round_id)) is None:
            raise KeyError(round_id)
        return record

    def find_round(self, round_id: str | None) -> RoundRecord | None:
        """The same; None where there is no such round."""
        return next((r for r in self.rounds if r.id == round_id), None)

    def with_rounds(self, ids: Collection[str], change: Callable[[RoundRecord], RoundRecord]) -> "Job":
        """The job with the rounds of these ids as ``change`` gives them back."""
        return replace(self, rounds=tuple(change(r) if r.id in ids else r for r in self.rounds))

    def rounds_of(self, cylinder: int) -> tuple[RoundRecord, ...]:
        """Rounds of one cylinder, oldest first."""
        return tuple(r for r in self.rounds if r.cylinder == cylinder)

    def reading(
        self, reading: str, cylinder: int | None = None, round_id: str | None = None
    ) -> ev.ReadingEntered | None:
        """The latest reading of a kind: of a round if asked, else of a cylinder, else of the whole job."""
        fits = (r for r in reversed(self.readings) if r.reading == reading and cylinder in (None, r.cylinder))
        return next((r for r in fits if round_id in (None, r.round_id)), None)

    def reading_for(self, reading: str, record: RoundRecord, *, job_wide: bool = False) -> ev.ReadingEntered | None:
        """The round's own reading, else its cylinder's, else (``job_wide``) the latest on the job."""
        own = self.reading(reading, round_id=record.id) or self.reading(reading, record.cylinder)
        return own or (self.reading(reading) if job_wide else None)

    def clip(self, clip_id: str) -> ClipRecord | None:
        """Look a clip up by id."""
        return next((c for r in self.rounds for c in r.clips if c.id == clip_id), None)

    def symptoms_of(self, cylinder: int | None = None) -> tuple[str, ...]:
        """Those noted of a cylinder; None: of the whole engine."""
        return self.symptoms.get(cylinder, ())

    def asked_of(self, cylinder: int | None = None) -> tuple[str, ...]:
        """Those asked about, whatever the answer."""
        return self.asked.get(cylinder, ())

    @property
    def symptoms_asked(self) -> bool:
        """Whether no symptom noted means that there is none; else it was not asked."""
        told = self.symptoms_of()
        return bool(core().intersection(told)) or core() <= {*self.asked_of(), *told}
