"""Every kind of event a job is made of: one frozen struct a kind, and the table from kind to struct."""

import re
from typing import Any

import msgspec

from listen.bounded import Count, Cylinder, Decibel, Hertz, Pixels, Reading, Seconds, Share
from listen.judge.result import RoundResult
from listen.signal.flags import Flag
from listen.trade.engine import Engine

SCHEMA = "hissway.job/1"
"""Form of a job's journal; another number means another meaning."""


class EngineSize(msgspec.Struct, frozen=True, kw_only=True):
    """What else is known of the engine, from its owner or its plate."""

    displacement_cc: Reading | None = None
    bore_mm: Reading | None = None
    compression_ratio: Reading | None = None
    text: str = ""


class Payload(msgspec.Struct, frozen=True, kw_only=True):
    """Base of all that an event may carry."""


class Withdrawable(Payload, frozen=True, kw_only=True):
    """Base of what may be taken back by :class:`Withdrawn`.

    Verdicts, decisions and signatures are not: later ones stand above them. A clip is, by an event of its own.
    """


class JobOpened(Payload, frozen=True, kw_only=True):
    """A job was taken in."""

    schema: str = SCHEMA
    job: str
    """Identifier that stays with the job on every machine."""
    title: str
    shop: str = ""
    engine: Engine
    size: EngineSize = EngineSize()
    pressure_unit: str = "kPa"
    """Unit chosen once per job: kPa, psi or bar."""
    complaint: str = ""
    simulated: bool = False
    """True where the clips come from the simulator, not from an engine."""


class EngineDescribed(Payload, frozen=True, kw_only=True):
    """The engine was described anew; replaces the earlier description."""

    engine: Engine
    size: EngineSize = EngineSize()


class JobNamed(Payload, frozen=True, kw_only=True):
    """Title, shop, unit or complaint were changed; None leaves one as it was."""

    title: str | None = None
    shop: str | None = None
    pressure_unit: str | None = None
    complaint: str | None = None


class WayChosen(Payload, frozen=True, kw_only=True):
    """How rounds are taken from now on."""

    way: str
    """``walks``, ``each-point``, ``switched`` or ``all-at-once``; see :mod:`listen.jobs.ways`."""


class DetailsGiven(Payload, frozen=True, kw_only=True):
    """Fields of the job card were filled in or changed."""

    details: dict[str, str]
    """Text by identifier of a row of the details table; empty clears it. Fields not named stay as they were."""


class PersonChosen(Payload, frozen=True, kw_only=True):
    """Who does what on this job: no accounts, a typed name."""

    role: str
    """``tech``, ``supervisor`` or ``owner``."""
    name: str


class ReadingEntered(Withdrawable, frozen=True, kw_only=True):
    """One number read off a gauge."""

    reading: str
    """``compression-dry``, ``compression-wet``, ``loss``, ``supply``, ``restrictor``, or any later name."""
    value: Reading
    """As entered."""
    unit: str
    """Unit as entered: kPa, psi, bar, percent or mm."""
    si: Reading
    """Pressures in kPa, loss in percent, restrictor in millimetres."""
    cylinder: Cylinder | None = None
    round_id: str | None = None
    confirmed: tuple[str, ...] = ()
    """Doubts the tech was asked about and answered with yes."""


class PlugSeen(Withdrawable, frozen=True, kw_only=True):
    """How a spark plug looked as it came out."""

    cylinder: Cylinder
    conditions: tuple[str, ...]
    """Identifiers of rows of the plug table."""
    text: str = ""


class SymptomNoted(Withdrawable, frozen=True, kw_only=True):
    """A symptom of the whole engine or of one cylinder, or its withdrawal."""

    symptom: str
    """Identifier of a row of the symptom table."""
    present: bool = True
    cylinder: Cylinder | None = None
    text: str = ""


class SymptomsAsked(Payload, frozen=True, kw_only=True):
    """The questions about symptoms of the whole engine were gone through; what was not noted was answered with no."""

    symptoms: tuple[str, ...]
    """Identifiers of the rows that were asked."""
    cylinder: Cylinder | None = None
    """None: of the whole engine."""


class CheckMade(Withdrawable, frozen=True, kw_only=True):
    """A check of the diagnosis was made, and what came of it; a later one of the same check and place replaces it."""

    check: str
    """Identifier of a row of the table of checks."""
    outcome: str
    """Identifier of one of its outcomes; ``not-possible`` where it could not be made here, empty to take it back."""
    cylinder: Cylinder | None = None
    text: str = ""


class AnswerWithdrawn(Withdrawable, frozen=True, kw_only=True):
    """An answer to a fact is not to count, yes, no or figure: as if it had not been asked."""

    fact: str
    """Identifier of a row of the table of facts."""
    cylinder: Cylinder | None = None


class NoteAdded(Withdrawable, frozen=True, kw_only=True):
    """Free words about the job, a cylinder, a round or one of its clips."""

    text: str
    cylinder: Cylinder | None = None
    round_id: str | None = None
    clip: str | None = None


class PhotoKept(Payload, frozen=True, kw_only=True):
    """A photo was brought in: of a plug, a bore, or anything of the job."""

    photo: str
    picture: bytes
    """JPEG, reduced and freed of the camera's particulars; base64 in the journal."""
    width: Pixels
    height: Pixels
    original_sha256: str
    """Of the file it was made from."""
    imported_from: str = ""
    """Name of that file."""
    cylinder: Cylinder | None = None
    of: str = ""
    """``plug``, ``bore``, ``head``, or empty."""
    text: str = ""


class PhotoTakenBack(Withdrawable, frozen=True, kw_only=True):
    """A photo is not to be shown any more, or is again; it stays in the journal."""

    photo: str
    reason: str = ""
    again: bool = False


class MicrophoneChecked(Payload, frozen=True, kw_only=True):
    """An input was chosen and checked."""

    device: str
    rate_hz: Hertz
    verdict: str
    """``good``, ``usable`` or ``not-usable``."""
    text: str = ""
    full_scale_db_spl: Decibel | None = None
    """Level calibration: sound pressure level of full scale, if a calibrator was used."""


class RoundOpened(Payload, frozen=True, kw_only=True):
    """A round on one cylinder began."""

    round_id: str
    cylinder: Cylinder
    title: str = ""


class CautionAcknowledged(Payload, frozen=True, kw_only=True):
    """Someone read a caution and said so, once per round."""

    caution: str
    """Identifier of a row of the caution table."""
    round_id: str | None = None


class StepPassed(Withdrawable, frozen=True, kw_only=True):
    """A step of a round was left out on purpose, with a reason (no gauge at hand, no closing walk, ...)."""

    round_id: str
    step: str
    reason: str


class ClipKept(Payload, frozen=True, kw_only=True):
    """A clip is whole on disk under its id."""

    clip: str
    """Identifier; the file is ``clips/<clip>.flac``."""
    round_id: str
    point: str
    clip_kind: str
    """``quiet``, ``air``, ``sound``, ``shut``, ``switched`` or ``switched-sound``."""
    walk: str
    """``quiet``, ``air``, ``closing``, ``switched`` or ``reference``."""
    take: Count
    """1 for the first clip at this point in this walk, counting those taken back."""
    sha256: str
    """Of the FLAC file."""
    seconds: Seconds
    rate_hz: Hertz
    device: str = ""
    overflows: Count = 0
    gain_db: Decibel | None = None
    started: str | None = None
    """UTC, ISO 8601, if known."""
    gaps: tuple[tuple[Seconds, Seconds], ...] = ()
    """Drop-outs: start and length in seconds."""
    flags: tuple[Flag, ...] = ()
    recovered: bool = False
    """True where the clip was saved from a take that a crash or a lost device cut short."""
    imported_from: str = ""
    """Name of the file it was made from, for clips recorded elsewhere."""
    on_s: tuple[tuple[Seconds, Seconds], ...] = ()
    """When the air was commanded on and off in a switched take, seconds from its start; empty: not known."""
    together: str = ""
    """Shared by the clips of one take of several channels."""


class ClipTakenBack(Withdrawable, frozen=True, kw_only=True):
    """A clip is not to be used; the file stays on disk."""

    clip: str
    reason: str = ""


class PointSkipped(Withdrawable, frozen=True, kw_only=True):
    """A point is left out of one walk (or of all, where ``walk`` is empty), with a reason; or taken up again."""

    round_id: str
    point: str
    reason: str
    walk: str = ""
    skipped: bool = True


class RoundImported(Payload, frozen=True, kw_only=True):
    """Clips recorded elsewhere were brought into a round."""

    round_id: str
    folder: str
    files: tuple[str, ...]
    left_out: tuple[str, ...] = ()
    """Files that could not be taken, each with its reason."""


class ByEarCalled(Withdrawable, frozen=True, kw_only=True):
    """What someone calls by ear, or that they decline to."""

    round_id: str
    paths: tuple[str, ...] = ()
    sure: Share | None = None
    declined: bool = False
    role: str = "tech"
    name: str = ""
    before_numbers: bool = True
    """True where no number of this round had been shown to this person yet."""
    sitting: str = ""
    """The sitting it was said in; empty where none was kept."""


class BubblesLooked(Withdrawable, frozen=True, kw_only=True):
    """Whether bubbles were seen in the radiator neck: ``yes``, ``no`` or ``not-looked``; empty: to be looked again."""

    round_id: str
    seen: str


class AirFollowed(Withdrawable, frozen=True, kw_only=True):
    """Whether the tester's needle fell and rose with the valve of switched takes: as :class:`BubblesLooked` has it."""

    round_id: str
    seen: str


class TopFoundAgain(Withdrawable, frozen=True, kw_only=True):
    """The crank was turned over and top dead centre on compression found anew, as a verdict asked: the loss stayed."""

    round_id: str
    loss_percent: Reading
    """As read then."""


class Judged(Payload, frozen=True, kw_only=True):
    """The round was judged from the clips named; the result is kept as it was."""

    round_id: str
    result: RoundResult
    clips: tuple[str, ...]
    """Every clip that went in."""
    version: str = ""
    """Version of the program that judged."""


class Confirmed(Payload, frozen=True, kw_only=True):
    """The supervisor agrees with a round's verdict."""

    round_id: str
    name: str
    blind: bool = False
    """True where the supervisor heard clips and called by ear before seeing the numbers."""
    text: str = ""
    sitting: str = ""


class Overruled(Payload, frozen=True, kw_only=True):
    """The supervisor says otherwise, with a reason."""

    round_id: str
    name: str
    paths: tuple[str, ...]
    reason: str
    blind: bool = False
    sitting: str = ""


class SentBack(Payload, frozen=True, kw_only=True):
    """The supervisor asks for one named recording before deciding."""

    round_id: str
    name: str
    point: str
    clip_kind: str
    reason: str
    blind: bool = False
    sitting: str = ""


class Signed(Payload, frozen=True, kw_only=True):
    """A name was typed under a round: it is closed over the journal up to ``head``."""

    round_id: str
    name: str
    role: str
    statement: str
    head: str
    """SHA-256 of the journal line before this one; covers everything up to it."""
    public_key: str = ""
    """Ed25519, hex; empty where no shop key was used."""
    signature: str = ""
    """Over the bytes that listen.jobs.exchange.sign states, hex."""


class SatDown(Payload, frozen=True, kw_only=True):
    """Someone said who they are at this machine; told with the first thing they write to the job in a sitting."""

    sitting: str
    """Identifier of the sitting: from naming oneself until someone else does or the program ends."""
    name: str
    role: str
    """``tech`` or ``supervisor``."""


class NumbersShown(Payload, frozen=True, kw_only=True):
    """A screen showed measured numbers or a verdict of rounds to whoever sat there."""

    sitting: str
    name: str
    rounds: tuple[str, ...]
    screen: str
    """The screen's name in lower case: ``engine``, ``round``, ``verdict``, ``confirm``, ..."""


class PairPlayed(Payload, frozen=True, kw_only=True):
    """Quiet and air at one point were played to their ends to whoever sat there."""

    sitting: str
    name: str
    round_id: str
    point: str
    clips: tuple[str, ...]
    """Ids in the order played."""


class FindingRecorded(Withdrawable, frozen=True, kw_only=True):
    """What the teardown showed: the truth."""

    cylinder: Cylinder
    paths: tuple[str, ...]
    """Escape paths really at work; ``none`` where the cylinder was sound."""
    text: str = ""
    found_by: str = ""


class DiagnosisStored(Payload, frozen=True, kw_only=True):
    """The diagnosis over the engine as it was shown."""

    diagnosis: dict[str, Any]
    version: str = ""


class PartFound(Payload, frozen=True, kw_only=True):
    """A take cut short by a crash was found and dropped."""

    part: str
    adopted: bool
    """True only from earlier versions, beside the clip that was kept: its ``recovered`` says it."""
    clip: str = ""


class JournalMended(Payload, frozen=True, kw_only=True):
    """The journal was found other than it was left (a torn end moved aside, lines gone); what is known of it."""

    moved_to: str
    bytes_moved: Count
    events_missing: Count
    """Events that the summary knew and the journal no longer has."""
    rewritten: bool = False
    """True where the journal is not the one the summary was made from."""


class Merged(Payload, frozen=True, kw_only=True):
    """Another machine's events since the fork, word for word; they count as if they stood here."""

    fork: str
    """SHA-256 of the last line both journals share."""
    lines: tuple[msgspec.Raw, ...]
    """The other journal's lines after the fork, byte for byte: a chain of their own from ``fork``. A line that this
    journal holds already, by itself or in an earlier merge, is named by its hash instead."""
    source: str
    """Name of the bag or folder they came from."""
    text: str = ""
    """What the two sides disagreed about, in the words of an earlier version; now told by listen.jobs.event_words."""


class Salvaged(Payload, frozen=True, kw_only=True):
    """This job was made of what a damaged one still held."""

    source: str
    """Folder name of the damaged job."""
    events: Count
    """Events that carried their own sum."""
    lines_lost: tuple[Count, ...]
    """Lines of the damaged journal, counted from 1, that did not."""
    signatures_left: Count = 0
    """Signatures left behind: they were given for another chain."""
    clips_missing: tuple[str, ...] = ()
    """Clips whose file was missing or not the one that was kept."""


class Withdrawn(Withdrawable, frozen=True, kw_only=True):
    """An earlier event of this job counts no more; a withdrawal that is withdrawn lets it count again."""

    event: str
    """Id of that event."""
    kind: str
    """Its kind, as in :data:`KINDS`."""
    reason: str = ""
    round_id: str | None = None
    cylinder: Cylinder | None = None
    """What it was about; both None: the whole job."""


class RoundSetAside(Withdrawable, frozen=True, kw_only=True):
    """A round does not count for its cylinder, or counts again; nothing of it is lost."""

    round_id: str
    aside: bool = True
    reason: str = ""


class Opaque(Payload, frozen=True, kw_only=True):
    """An event of a kind this version does not know (or cannot read); kept as it is, not acted upon."""

    unknown_kind: str
    content: Any
    why: str


KINDS: dict[str, type[Payload]] = {
    re.sub("(?<!^)(?=[A-Z])", "-", name).lower(): struct
    for name, struct in list(globals().items())
    if isinstance(struct, type) and issubclass(struct, Payload) and struct not in (Payload, Withdrawable, Opaque)
}
"""Each kind by its name in the journal, which its struct gives. Neither ever changes; the tests hold the list."""

KIND_OF: dict[type[Payload], str] = {struct: kind for kind, struct in KINDS.items()}


class Event(msgspec.Struct, frozen=True, kw_only=True):
    """One line of the journal, read."""

    id: str
    time: str
    """UTC, ISO 8601; told to people, and decides the order only between events that did not know of each other."""
    actor: str
    payload: Payload
    line: str
    """SHA-256 of the journal line it stands on."""
    place: int = 0
    """Its number among all that merged journals hold, the same wherever they were merged."""
    knew: int | None = None
    """What its writer had, where journals were merged: a bit for each place. None: everything before it."""

    @property
    def kind(self) -> str:
        return KIND_OF.get(type(self.payload), "unknown")

    def knew_of(self, place: int) -> bool:
        """Whether whoever wrote this had the event at ``place``."""
        return self.knew is None or bool(self.knew >> place & 1)
