"""Writes a job folder with a stated clock and stated identifiers, so that the same story gives the same bytes."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path

from listen.audio.write import write_clip
from listen.jobs.events import ClipKept, Payload
from listen.jobs.fold import fold
from listen.jobs.folder.chain import JOURNAL, Chain
from listen.jobs.folder.journal import GENESIS, Line, write_line
from listen.jobs.job import Job
from listen.signal.clip import Clip


@dataclass(slots=True)
class Ledger:
    """A journal in the making; the clock moves only when told."""

    folder: Path
    name: str
    """Root of all identifiers."""
    now: datetime
    actor: str = ""
    lines: list[Line] = field(default_factory=list)

    def identifier(self, *words: object, digits: int = 16) -> str:
        """A hex identifier that follows from the ledger's name and the words."""
        return hashlib.sha256("/".join(map(str, (self.name, *words))).encode()).hexdigest()[:digits]

    def wait(self, seconds: float) -> None:
        """Let time pass."""
        self.now += timedelta(seconds=seconds)

    def add(self, *payloads: Payload, after_s: float = 20.0) -> None:
        """Append events, ``after_s`` apart."""
        for payload in payloads:
            self.wait(after_s)
            prev = self.lines[-1].hash if self.lines else GENESIS
            time = self.now.isoformat(timespec="milliseconds").replace("+00:00", "Z")
            event_id = self.identifier("event", len(self.lines))
            self.lines.append(write_line(payload, prev=prev, actor=self.actor, time=time, id=event_id))

    @property
    def head(self) -> str:
        """Hash of the last line."""
        return self.lines[-1].hash

    @property
    def job(self) -> Job:
        """The job so far."""
        return fold(Chain(tuple(self.lines)).events())

    def keep(
        self,
        clip: Clip,
        round_id: str,
        point: str,
        clip_kind: str,
        walk: str,
        on_s: Sequence[tuple[float, float]] = (),
    ) -> str:
        """Write a clip into the job and its event; gives the clip's id."""
        self.wait(6.0)
        clip_id = self.identifier("clip", round_id, point, walk, digits=12)
        path = self.folder / "clips" / f"{clip_id}.flac"
        path.parent.mkdir(parents=True, exist_ok=True)
        write_clip(path, replace(clip, taken=self.now, name=path.name))
        kept = ClipKept(
            clip=clip_id,
            round_id=round_id,
            point=point,
            clip_kind=clip_kind,
            walk=walk,
            take=1,
            sha256=hashlib.sha256(path.read_bytes()).hexdigest(),
            seconds=clip.seconds,
            rate_hz=clip.rate_hz,
            device=clip.device,
            started=self.now.isoformat(),
            on_s=tuple(on_s),
        )
        self.add(kept, after_s=clip.seconds)
        return clip_id

    def write(self) -> None:
        """Put the journal on disk."""
        self.folder.mkdir(parents=True, exist_ok=True)
        (self.folder / JOURNAL).write_bytes(b"".join(line.raw + b"\n" for line in self.lines))
