"""A job in hand: its present value, and the only way to add to it."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING

from msgspec.structs import replace

from listen.durable import age_s, remove_if_possible, sweep
from listen.errors import JobChanged, JobError
from listen.jobs.events import ClipKept, Event, Merged, PartFound, Payload, RoundOpened, Withdrawn
from listen.jobs.fold import fold
from listen.jobs.folder import disk, heads
from listen.jobs.folder.chain import JOURNAL, Chain, broken_words, read_chain
from listen.jobs.folder.heads import mend
from listen.jobs.folder.journal import Line, storable, write_line
from listen.jobs.folder.parts import CLIPS, Partial, clip_event, is_clip_id, new_partial, partials, with_particulars
from listen.jobs.folder.summary import JobSummary, stored_summary, summarize, write_summary
from listen.jobs.folder.turn import BenchLock, Turn, news
from listen.jobs.hearing import unseen
from listen.jobs.job import Job

if TYPE_CHECKING:
    from listen.audio.take import Recording


Spans = tuple[tuple[float, float], ...]
"""When the air was commanded on and off, seconds from the start of a take."""
OTHERS_WRITE_S = 3600.0
"""The list of jobs writes summaries into folders it has not locked; after so long such a file is nobody's."""

NOBODYS_S = 30 * 86_400.0
"""A take for a round that the journal does not know may belong to one still to be restored; not after a month."""


class OpenJob(AbstractContextManager["OpenJob"]):
    """A job folder opened to read, or to write beside other programs; one at a time records at the engine."""

    def __init__(self, folder: Path, chain: Chain, turn: Turn | None, actor: str = "") -> None:
        self.folder = folder.absolute()
        self.clips = self.folder / CLIPS
        self.actor = actor
        """Who is at the keyboard; stands on every event."""
        self._lines = list(chain.lines)
        self.broken = broken_words(self.folder, chain) if chain.broken else ""
        """Why the journal does not hold to its end; empty where it does."""
        self._size, self._written_ns = chain.size, 0
        self._turn = turn
        self._bench: BenchLock | None = None
        self.job = fold(chain.events())
        """The job as it is now: a frozen value."""
        self._adding = threading.RLock()
        """One thread at a time adds: an import goes on beside a screen. Never held while a clip is read or written."""
        self._news: list[Event] = []

    @property
    def writable(self) -> bool:
        """Whether this program may add to the job."""
        return self._turn is not None

    def to_bench(self) -> None:
        """Become the one program that records at this engine; others decide, read and type meanwhile.

        Raises JobLocked: another one is; the message says which."""
        if self._turn is None or self._bench is not None:
            return
        bench = BenchLock(self.folder)
        bench.take()
        self._bench = bench
        self.catch_up()
        self._sweep()

    def leave_bench(self) -> None:
        """Let another program record."""
        if self._bench is not None:
            self._bench.give_back()
            self._bench = None

    @property
    def head(self) -> str:
        """Hash of the last line."""
        return self.chain.head

    @property
    def chain(self) -> Chain:
        """The journal's lines that hold."""
        return Chain(tuple(self._lines))

    def read_again(self, chain: Chain) -> None:
        """Go on from another journal that was put in place of this one."""
        self._take_over(chain)
        self._summarize()
        heads.note(self.folder, self.job.id, chain, afresh=True)

    def _take_over(self, chain: Chain) -> None:
        self._lines, self._size = list(chain.lines), chain.size
        self.job = fold(chain.events())

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Other programs wait, and all that they wrote is known here, as long as this lasts.

        Raises JobError: opened to read only, the disk refuses, or another journal lies there than was opened."""
        with self._adding:
            if self._turn is None:
                raise JobError(f"{self.folder}: is open to read only; nothing was written")
            with self._turn.taken():
                self._mend(self._read_on())
                yield

    def look_over(self) -> None:
        """Just opened: find out whether the journal is as it was left here, and say in it where it is not.

        Raises JobError: as :meth:`writing`."""
        if self._turn is not None:
            with self._adding, self._turn.taken():
                self._mend(self._read_on(), stored_summary(self.folder), heads.known(self.folder))

    def _mend(self, end: Chain, known: JobSummary | None = None, register: heads.Known | None = None) -> None:
        whole = Chain(tuple(self._lines), torn=end.torn, open_ended=end.open_ended)
        if found := mend(self.folder, whole, known, register):
            self._add(write_line(found, prev=self.head, actor="hissway"))

    def catch_up(self) -> Job:
        """Read what other programs wrote since; costs one look at the file where they wrote nothing.

        Raises JobError: the journal cannot be read, or another one lies there than was opened."""
        with self._adding:
            if not self.broken:
                self._read_on()
            return self.job

    def take_news(self) -> tuple[Event, ...]:
        """What other programs wrote and nobody was told of yet; asked again it begins anew."""
        with self._adding:
            told, self._news = tuple(self._news), []
            return told

    def _read_on(self) -> Chain:
        """Take in what is new; gives it with how the file ends."""
        path = self.folder / JOURNAL
        with disk.job_errors("read the journal", path):
            stat = path.stat()
        if (stat.st_size, stat.st_mtime_ns) == (self._size, self._written_ns):
            return Chain(())
        if not self._written_ns and stat.st_size == self._size:  # just opened
            self._written_ns = stat.st_mtime_ns
            return Chain(())
        chain, added = news(self.folder, self._lines, self._size)
        if added:
            self._news += chain.events()
            self._grow(chain.lines)
        elif chain.head != self.head:
            known = {e.id for e in self.chain.events()}
            self._news += [e for e in chain.events() if e.id not in known]
            self._take_over(chain)
        if not chain.torn:
            self._written_ns = stat.st_mtime_ns
        return chain

    def clip_path(self, clip_id: str) -> Path:
        """The sound file of a clip.

        Raises JobError: the id cannot be a file name; the journal was not written by this program."""
        if not is_clip_id(clip_id):
            raise JobError(f"{self.folder}: {clip_id!r} is not a clip id")
        return self.clips / f"{clip_id}.flac"

    def append(self, *payloads: Payload, actor: str | None = None, known: Job | None = None) -> Job:
        """Write events, all or none; they are on disk (fsync) when this returns the new job.

        ``known`` is the job as whoever decided saw it, where that was a while ago; else as it is known here now.

        Raises JobError: opened to read only, disk full, read-only, folder gone...: the job is as it was before.
        JobChanged: a decision, signature or result on a round of which another program wrote something not known
        here yet: nothing was written, and it is known now."""
        known = known or self.job
        with self.writing():
            if what := unseen(known, self.job, payloads):
                raise JobChanged(what)
            who = self.actor if actor is None else actor
            new: list[Line] = []
            for payload in payloads:
                prev = new[-1].hash if new else self.head
                new.append(write_line(payload, prev=prev, actor=who))
            self._add(*new)
            return self.job

    def foreseen(self, job: Job, *payloads: Payload) -> Job:
        """``job`` as it will be once these are on a disk that takes its time; nothing is written."""
        lines = (write_line(payload, prev=self.head, actor=self.actor) for payload in payloads)
        return fold((line.event for line in lines), job)

    def append_lines(self, lines: tuple[Line, ...]) -> Job:
        """Write lines that already follow this journal's head, word for word (from another machine's copy)."""
        with self.writing():
            self._add(*lines)
            return self.job

    def _add(self, *new: Line) -> None:
        path = self.folder / JOURNAL
        data = b"".join(line.raw + b"\n" for line in new)
        merges = any(isinstance(line.event.payload, Merged) for line in new)
        chain = read_chain(b"".join(line.raw + b"\n" for line in self._lines) + data) if merges else None
        if chain is not None and chain.broken:
            raise JobError(f"{path}: what came in cannot be added: {chain.broken}; nothing was written")
        with disk.job_errors("write to the journal", path):
            disk.append(path, data, self._size)
            self._written_ns = path.stat().st_mtime_ns
        if chain is not None:
            self._take_over(chain)
        else:
            self._grow(new)
        self._summarize()

    def _grow(self, new: Sequence[Line]) -> None:
        """Lines were added at the end."""
        self._lines = [*self._lines, *new]
        self._size += sum(len(line.raw) + 1 for line in new)
        whole = any(isinstance(line.event.payload, Withdrawn) for line in new) or any(
            isinstance(line.event.payload, Merged) for line in self._lines
        )
        # What was said on two machines stays told until someone settles it, and what was withdrawn is passed over:
        # only the whole can show either.
        self.job = fold(self.chain.events()) if whole else fold((n.event for n in new), self.job)

    def _summarize(self) -> None:
        with suppress(OSError):
            stat = (self.folder / JOURNAL).stat()
            write_summary(self.folder, summarize(self.job, self.chain, stat))
        heads.note(self.folder, self.job.id, self.chain)

    def new_part(
        self, round_id: str, point: str, clip_kind: str, walk: str, on_s: Spans = (), together: str = ""
    ) -> Partial:
        """Name a take to be recorded; hand ``.path`` to the microphone and the whole to :meth:`keep`.

        Raises JobLocked: another program records at this engine. JobError: the folder for takes cannot be made."""
        self.to_bench()
        part = new_partial(self.folder, round_id, point, clip_kind, walk, on_s, together)
        with disk.job_errors("make room for a take", part.path.parent):
            part.path.parent.mkdir(exist_ok=True)
        return part

    def keep(
        self, part: Partial, recording: Recording | None = None, *, recovered: bool = False, imported_from: str = ""
    ) -> Job:
        """Make a recorded take a clip: FLAC written, read back, synced, named, then the event. The part goes last.

        Raises JobError: the disk refused; the part is still there and will be offered again. ClipError: the part
        holds no sound."""
        from listen.audio.partial import read_part
        from listen.audio.write import write_flac

        flac = self._room_for(part)
        clip = read_part(part.path)
        with disk.job_errors("keep the clip", flac):
            write_flac(flac, clip)  # not partial.finish: the part must outlive the event, or a crash between hides it
        with self.writing():  # the number of the take must still hold when it is written
            with disk.job_errors("read the clip again", flac):
                kept = clip_event(self.job, part, clip, flac)
            kept = replace(kept, recovered=recovered, imported_from=imported_from)
            if recording is not None:
                kept = with_particulars(kept, recording)
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
        from listen.audio.partial import write_part

        clip = read_clip(file, channel=channel, start_s=start_s, seconds=seconds)
        self._room_for(part)
        with disk.job_errors("take in the clip", part.path):
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
        if all(r.id != part.round_id for r in self.job.rounds):
            raise JobError(f"{self.folder}: has no round {part.round_id}; open the round first")
        flac = self.clip_path(part.clip)
        with disk.job_errors("keep the clip", flac):
            flac.parent.mkdir(exist_ok=True)
        return flac

    def partials(self) -> tuple[Partial, ...]:
        """Takes left over from a crash or a lost device, to be adopted (:meth:`keep`) or dropped.

        None where another program may be recording: a take of its would look the same.
        """
        if self._bench is None:
            return ()
        known = {c.id for r in self.job.rounds for c in r.clips}
        rounds = {r.id for r in self.job.rounds}
        return tuple(p for p in partials(self.folder) if p.clip not in known and p.round_id in rounds)

    def drop(self, part: Partial) -> Job:
        """Say that a left-over take is not wanted, then remove it, and the clip that a crash left before its event."""
        with self.writing():
            self.append(PartFound(part=part.path.name, adopted=False))
            if self.job.clip(part.clip) is None:
                remove_if_possible(self.clips / f"{part.clip}.flac")
            remove_if_possible(part.path)
            return self.job

    def _sweep(self) -> None:
        """Remove what earlier programs could not, or had no time for: parts of clips that are safe or not wanted."""
        sweep(self.folder, older_s=OTHERS_WRITE_S)
        sweep(self.folder.parent / heads.REGISTER, older_s=OTHERS_WRITE_S)
        sweep(self.clips)
        kept = {c.id: c.kept for r in self.job.rounds for c in r.clips}
        payloads = (e.payload for e in self.chain.events())
        unwanted = {p.part for p in payloads if isinstance(p, PartFound) and not p.adopted}
        rounds = {r.id for r in self.job.rounds}
        for part in partials(self.folder):
            strange = part.round_id not in rounds and age_s(part.path) > NOBODYS_S
            safe = (clip := kept.get(part.clip)) is not None and self._holds(clip)
            if safe or strange or part.path.name in unwanted:
                remove_if_possible(part.path)

    def _holds(self, kept: ClipKept) -> bool:
        """Whether the file of a clip is the one that was kept."""
        try:
            return disk.sha256_of(self.clip_path(kept.clip)) == kept.sha256
        except (OSError, JobError):
            return False

    def close(self) -> None:
        """Write no more, and let another record."""
        with self._adding:
            self._turn = None
            self.leave_bench()

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()


def new_round(cylinder: int, title: str = "") -> RoundOpened:
    """The event that begins a round on a cylinder, under an id of its own."""
    return RoundOpened(round_id=f"c{cylinder}-{secrets.token_hex(3)}", cylinder=cylinder, title=title)
