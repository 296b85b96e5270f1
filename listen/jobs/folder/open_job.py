"""A job in hand: its journal, its clips and takes, and who records at the engine."""

from __future__ import annotations

import secrets
from contextlib import AbstractContextManager
from pathlib import Path
from typing import TYPE_CHECKING

from listen.durable import age_s, job_errors, remove_if_possible, sha256_of, sweep
from listen.errors import JobError
from listen.jobs.events import ClipKept, PartFound, RoundOpened
from listen.jobs.folder import witnesses
from listen.jobs.folder.journal import storable
from listen.jobs.folder.open_journal import OpenJournal
from listen.jobs.folder.parts import CLIPS, Partial, Spans, clip_fault, clip_file, new_partial, partials
from listen.jobs.folder.turn import BenchLock
from listen.jobs.job import Job
from listen.same_fields import same_fields

if TYPE_CHECKING:
    from listen.audio.take import Recording


OTHERS_WRITE_S = 3600.0
"""The list of jobs writes summaries into folders it has not locked; after so long such a file is nobody's."""

NOBODYS_S = 30 * 86_400.0
"""A take for a round that the journal does not know may belong to one still to be restored; not after a month."""


class OpenJob(OpenJournal, AbstractContextManager["OpenJob"]):
    """A job folder opened to read, or to write beside other programs; one at a time records at the engine."""

    _bench: BenchLock | None = None

    @property
    def clips(self) -> Path:
        return self.folder / CLIPS

    def to_bench(self) -> None:
        """Become the one program that records at this engine; others decide, read and type meanwhile.

        Raises JobLocked: another one is; the message says which."""
        if self._turn is None or self._bench is not None:
            return
        bench = BenchLock(self.folder)
        bench.take()
        self._bench = bench
        # Whoever recorded before may have kept takes that would else be offered, or swept, as left over.
        self.catch_up()
        self._sweep()

    def leave_bench(self) -> None:
        """Let another program record."""
        if self._bench is not None:
            self._bench.give_back()
            self._bench = None

    def clip_path(self, clip_id: str) -> Path:
        """The sound file of a clip.

        Raises JobError: the id cannot be a file name; the journal was not written by this program."""
        if (path := clip_file(self.folder, clip_id)) is None:
            raise JobError(f"{self.folder}: {clip_id!r} is not a clip id")
        return path

    def new_part(
        self, round_id: str, point: str, clip_kind: str, walk: str, on_s: Spans = (), together: str = ""
    ) -> Partial:
        """Name a take to be recorded; hand ``.path`` to the microphone and the whole to :meth:`keep`.

        Raises JobLocked: another program records at this engine. JobError: the folder for takes cannot be made."""
        self.to_bench()
        part = new_partial(self.folder, round_id, point, clip_kind, walk, on_s, together)
        with job_errors("make room for a take", part.path.parent):
            # Some tools leave empty folders out when they copy a job.
            part.path.parent.mkdir(exist_ok=True)
        return part

    def keep(
        self, part: Partial, recording: Recording | None = None, *, recovered: bool = False, imported_from: str = ""
    ) -> Job:
        """Make a recorded take a clip: FLAC written, read back, synced, named, then the event. The part goes last.

        Raises JobError: the disk refused; the part is still there and will be offered again. ClipError: the part
        holds no sound."""
        from listen.audio.files import read_part
        from listen.audio.write import write_clip

        flac = self._room_for(part)
        # Outside the turn: a long take is written and read back meanwhile, and others want to type.
        clip = read_part(part.path)
        with job_errors("keep the clip", flac):
            write_clip(flac, clip)  # not partial.finish: the part must outlive the event, or a crash between hides it
        with self.writing():  # the number of the take must still hold when it is written
            ever = self.job.round(part.round_id).clips
            with job_errors("read the clip again", flac):
                kept = ClipKept(
                    **same_fields(part, "clip", "round_id", "point", "clip_kind", "walk", "on_s", "together"),
                    take=1 + sum((c.kept.point, c.kept.walk) == (part.point, part.walk) for c in ever),
                    sha256=sha256_of(flac),
                    **same_fields(clip, "seconds", "rate_hz", "gain_db", "device", "overflows"),
                    started=clip.taken.isoformat() if clip.taken else None,
                    # Only whoever recorded it tells its gaps.
                    gaps=tuple((float(at), float(length)) for at, length in recording.gaps) if recording else (),
                    recovered=recovered,
                    imported_from=imported_from,
                )
            self.append(kept)
            remove_if_possible(part.path)  # the clip is safe; what a scanner holds now goes when the job is next opened
            return self.job

    def keep_file(
        self, file: Path, part: Partial, *, channel: int = 0, start_s: float = 0.0, seconds: float | None = None
    ) -> Job:
        """Make a sound file recorded elsewhere, or a stretch of one, a clip, by way of a part, as a take.

        The file itself is only read.

        Raises ClipError: the file cannot be measured. JobError: the disk refused; the job is as it was."""
        from listen.audio.files import read_clip
        from listen.audio.write import write_part

        clip = read_clip(file, channel=channel, start_s=start_s, seconds=seconds)
        self._room_for(part)
        with job_errors("take in the clip", part.path):
            write_part(part.path, clip)
        try:
            from_channel = f", channel {channel}" if channel else ""
            return self.keep(part, imported_from=storable(file.name) + from_channel)
        except (JobError, OSError):  # the file it came from is still there
            remove_if_possible(part.path)
            remove_if_possible(self.clip_path(part.clip))
            raise

    def _room_for(self, part: Partial) -> Path:
        if self._turn is None:
            raise JobError(f"{self.folder}: is open to read only; nothing was written")
        if self.job.find_round(part.round_id) is None:
            raise JobError(f"{self.folder}: has no round {part.round_id}; open the round first")
        flac = self.clip_path(part.clip)
        with job_errors("keep the clip", flac):
            # Some tools leave empty folders out when they copy a job.
            flac.parent.mkdir(exist_ok=True)
        return flac

    def partials(self) -> tuple[Partial, ...]:
        """Takes left over from a crash or a lost device, to be adopted (:meth:`keep`) or dropped.

        None where another program may be recording: a take of its would look the same.
        """
        if self._bench is None:
            return ()
        # A crash between event and end leaves both: such a take is a clip already.
        known = self.job.clip
        return tuple(p for p in partials(self.folder) if known(p.clip) is None and self.job.find_round(p.round_id))

    def drop(self, part: Partial) -> Job:
        """Say that a left-over take is not wanted, then remove it, and the clip that a crash left before its event."""
        with self.writing():
            # Told before it goes: if the power fails between the two, the next sweep removes it unasked.
            self.append(PartFound(part=part.path.name, adopted=False))
            if self.job.clip(part.clip) is None:
                remove_if_possible(self.clips / f"{part.clip}.flac")
            remove_if_possible(part.path)
            return self.job

    def _sweep(self) -> None:
        """Remove what earlier programs could not, or had no time for: parts of clips that are safe or not wanted."""
        sweep(self.folder, older_s=OTHERS_WRITE_S)
        sweep(self.folder.parent / witnesses.REGISTER, older_s=OTHERS_WRITE_S)
        sweep(self.clips)
        kept = self.chain.clips()
        payloads = (e.payload for e in self.chain.events())
        unwanted = {p.part for p in payloads if isinstance(p, PartFound) and not p.adopted}
        rounds = {r.id for r in self.job.rounds}
        for part in partials(self.folder):
            strange = part.round_id not in rounds and age_s(part.path) > NOBODYS_S
            # An event does not prove its file: where the clip was lost since, the part is the last copy.
            safe = part.clip in kept and not clip_fault(self.folder, kept[part.clip])
            if safe or strange or part.path.name in unwanted:
                remove_if_possible(part.path)

    def close(self) -> None:
        """Write no more, and let another record."""
        with self._adding:
            self._turn = None
            self.leave_bench()

    def __exit__(self, *raised: object) -> None:
        self.close()


def new_round(cylinder: int, title: str = "") -> RoundOpened:
    """The event that begins a round on a cylinder, under an id of its own."""
    return RoundOpened(round_id=f"c{cylinder}-{secrets.token_hex(3)}", cylinder=cylinder, title=title)
