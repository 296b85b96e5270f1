"""What a report says, as plain values: the same for the HTML page, the Markdown text and the JSON document."""

from typing import Literal

import msgspec

from listen.diagnosis.model import Diagnosis
from listen.jobs.events import ReadingEntered
from listen.report.owner_words import Language
from listen.trade.engine import Engine
from listen.voice.figures import UNKNOWN, as_read, pressure

SCHEMA = "hissway.report/2"


class CylinderRow(msgspec.Struct, frozen=True, kw_only=True):
    cylinder: int
    dry: str
    wet: str
    loss: str
    plug: str
    by_ear: str
    heard: str
    decision: str
    standing: str
    cause: str
    finding: str
    """What the teardown showed, where known."""


class PointPart(msgspec.Struct, frozen=True, kw_only=True):
    point: str
    words: str
    excess_db: float | None
    low_db: float | None
    high_db: float | None
    limit_db: float | None
    detected: bool
    level: str
    drift_db: float | None
    bubbles: str
    says: str
    flags: tuple[str, ...]
    quiet_clip: str = ""
    """Identifier of the quiet clip to hear, empty where there is none."""
    air_clip: str = ""
    """The same as ``quiet_clip`` where one switched take holds both."""
    on_s: tuple[tuple[float, float], ...] = ()
    """When the air of a switched take was commanded on and off, seconds from its start."""
    not_as_recorded: str = ""
    """Which of the two is not the clip that was recorded; empty where both are."""
    skipped: str = ""


class PathPart(msgspec.Struct, frozen=True, kw_only=True):
    words: str
    probability: float
    """That it is at work, alone or with another."""
    evidence: tuple[tuple[str, float], ...]
    """What moved it, in decibans."""


class PhotoPart(msgspec.Struct, frozen=True, kw_only=True):
    """One photo of the job; the picture itself stands on the page and in the journal."""

    photo: str
    cylinder: int | None
    words: str
    taken_in: str
    width: int
    height: int
    original_sha256: str


class ClipPart(msgspec.Struct, frozen=True, kw_only=True):
    clip: str
    round_id: str
    cylinder: int
    point: str
    kind: str
    walk: str
    take: int
    seconds: float
    rate_hz: int
    device: str
    started: str
    sha256: str
    file: str
    """``matches``, ``differs`` or ``missing``."""
    note: str
    """Taken back, recovered, imported, gaps."""


class SignaturePart(msgspec.Struct, frozen=True, kw_only=True):
    name: str
    role: str
    signed: str
    state: Literal["name-only", "good", "bad"]
    fingerprint: str
    """Of the shop key, as ``hissway verify`` prints it; empty where no key was used."""
    held_by: str
    """Key and state in words."""
    statement: str
    head: str
    """Hash of the journal line up to which it closes."""


class RoundPart(msgspec.Struct, frozen=True, kw_only=True):
    id: str
    cylinder: int
    title: str
    opened: str
    settings: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    points: tuple[PointPart, ...]
    paths: tuple[PathPart, ...]
    verdict: str
    next: str
    judged_by: str
    calls: tuple[str, ...]
    decisions: tuple[str, ...]
    signatures: tuple[str, ...]
    signature_checks: tuple[SignaturePart, ...]
    """The same, taken apart."""
    warnings: tuple[str, ...]
    """Stale result, changes after signing, steps left out."""
    notes: tuple[str, ...]

    @property
    def measured(self) -> bool:
        """Whether any point carries a figure."""
        return any(p.excess_db is not None for p in self.points)


class OwnerFound(msgspec.Struct, frozen=True, kw_only=True):
    cause: str = ""
    """Identifier; empty where nothing can be named."""
    cylinders: tuple[int, ...] = ()
    says: str
    means: str
    sure: str = ""
    waits: str = ""
    """What leaving it would mean."""
    next: str = ""
    """What comes next and what it decides."""


class OwnerHeard(msgspec.Struct, frozen=True, kw_only=True):
    round_id: str
    point: str
    words: str
    """Its caption; ``{seconds}`` stands for the length of each clip as it is heard."""
    quiet_clip: str
    air_clip: str


class OwnerPart(msgspec.Struct, frozen=True, kw_only=True):
    """The page for the owner, in plain words of one language."""

    language: str
    labels: dict[str, str]
    warnings: tuple[str, ...]
    """What stands before everything else."""
    found: tuple[OwnerFound, ...]
    not_looked: str
    heard: OwnerHeard | None
    drawing: str
    changes: tuple[str, ...]
    opened: str
    """What the teardown showed; empty where the engine was not opened."""
    who: tuple[str, ...]
    """Shop, days and tech; the supervisor's decision and the signature; how to reach them."""
    note: str


class ChangeRow(msgspec.Struct, frozen=True, kw_only=True):
    what: str
    before: str
    after: str
    change: str
    beyond: bool | None
    """True where it changed beyond the uncertainty of both; None where that cannot be said."""


class BeforePart(msgspec.Struct, frozen=True, kw_only=True):
    """Another job on the same engine, side by side."""

    title: str
    changed: str
    job: str
    rows: tuple[ChangeRow, ...]
    remark: str


class Report(msgspec.Struct, frozen=True, kw_only=True):
    schema: str = SCHEMA
    job: str
    title: str
    shop: str
    complaint: str
    simulated: bool
    days: str
    """Days on which something was read, seen or recorded."""
    made: str
    version: str
    engine: Engine
    engine_words: tuple[tuple[str, str], ...]
    people: tuple[tuple[str, str], ...]
    symptoms: tuple[str, ...]
    notes: tuple[str, ...]
    cylinders: tuple[CylinderRow, ...]
    diagnosis: Diagnosis
    owner: OwnerPart
    photos: tuple[PhotoPart, ...]
    rounds: tuple[RoundPart, ...]
    cautions: tuple[tuple[str, str], ...]
    defer: str
    numbers: tuple[tuple[str, str, str], ...]
    """Rules of thumb: item, figures, use."""
    microphone: str
    clips: tuple[ClipPart, ...]
    altered: int
    """Clips in use that are not the recorded ones, or are gone."""
    journal_head: str
    events: int
    troubles: tuple[str, ...]
    before: BeforePart | None = None
    symptoms_asked: bool = False
    """Where no symptom was noted: whether they were asked at all."""
    hit_rate: tuple[tuple[str, ...], ...] = ()
    """The shop's own record: rows of a table, the first one its heading."""


class Origin(msgspec.Struct, frozen=True, kw_only=True):
    """Where a page comes from, as it stands in its head, so that it can be made again and compared."""

    job: str
    head: str
    """Hash of the journal's last line when it was made."""
    version: str
    made: str
    """When, UTC, ISO 8601."""
    language: Language
    contact: str = ""
    before: tuple[str, str] | None = None
    """Job and head of the earlier job beside this one."""
    audio: bool = True
    unfolded: bool = False
    hit_rate: tuple[tuple[str, ...], ...] = ()
    """The shop's own record as it was then; it changes with every teardown, and cannot be worked out again."""


def reading_in_words(r: ReadingEntered | None) -> str:
    """A reading as entered, with kPa beside it where it was entered otherwise."""
    if r is None:
        return UNKNOWN
    confirmed = f" (confirmed: {', '.join(r.confirmed)})" if r.confirmed else ""
    return as_read(r.value, r.unit) + (f" ({pressure(r.si)})" if r.unit in ("psi", "bar") else "") + confirmed
