"""A journal in hand: the job's present value, and the only way to add to it."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from listen import durable
from listen.errors import JobChanged, JobError
from listen.jobs.events import Event, Merged, Payload, Withdrawn
from listen.jobs.fold import fold
from listen.jobs.folder import witnesses
from listen.jobs.folder.chain import JOURNAL, Chain, broken_words, read_chain, read_journal
from listen.jobs.folder.journal import Line, write_line
from listen.jobs.folder.turn import Turn
from listen.jobs.folder.witnesses import mend, stored_summary, summarize, write_summary
from listen.jobs.hearing import unseen
from listen.jobs.job import Job


class OpenJournal:
    """A job folder's journal opened to read, or to write beside other programs."""

    def __init__(self, folder: Path, chain: Chain, turn: Turn | None, actor: str = "") -> None:
        self.folder = folder.absolute()
        self.actor = actor
        """Who is at the keyboard; stands on every event."""
        self.chain, self.job = Chain(()), Job()
        """The journal's lines that hold, and the job as it is now: frozen values."""
        self._take_in(chain)
        self.broken = broken_words(self.folder, chain) if chain.broken else ""
        """Why the journal does not hold to its end; empty where it does."""
        # 0: what the file's time was when it was read is not known, so that the first look goes by its size.
        self._written_ns = 0
        self._turn = turn
        self._adding = threading.RLock()
        """One thread at a time adds: an import goes on beside a screen. Never held while a clip is read or written."""
        self._news: list[Event] = []

    @property
    def writable(self) -> bool:
        """Whether this program may add to the job."""
        return self._turn is not None

    def take_over(self, chain: Chain) -> None:
        """Put a journal in place of this one that holds every line of it, so that nothing of it is lost.

        Raises JobError: the disk refuses; the journal is as it was."""
        path = self.folder / JOURNAL
        with durable.job_errors("take over the journal", path):
            (self.folder / witnesses.SUMMARY).unlink(missing_ok=True)  # it witnesses the journal that is about to go
            durable.replace(path, chain.data)
        self._take_in(chain)
        self._summarize()

    def _take_in(self, chain: Chain) -> None:
        """This is the journal now."""
        known = self.chain.lines
        goes_on = chain.lines[: len(known)][-1:] == known[-1:]
        added = chain.lines[len(known) :] if goes_on else chain.lines
        merged = any(isinstance(line.event.payload, Merged) for line in chain.lines)
        whole = merged or not goes_on or any(isinstance(line.event.payload, Withdrawn) for line in added)
        # What was said on two machines stays told until someone settles it, and what was withdrawn is passed over:
        # only the whole can show either.
        self.job = fold(chain.events()) if whole else fold((line.event for line in added), self.job)
        self.chain, self._size = Chain(chain.lines), chain.size

    @contextmanager
    def writing(self, *, just_opened: bool = False) -> Iterator[None]:
        """Other programs wait, and all that they wrote is known here, as long as this lasts.

        ``just_opened``: whether the journal is as it was left here is looked at first, and said in it where it is not.

        Raises JobError: opened to read only, the disk refuses, or another journal lies there than was opened."""
        with self._adding:
            if self._turn is None:
                raise JobError(f"{self.folder}: is open to read only; nothing was written")
            with self._turn.taken():
                end = self._read_on()
                whole = Chain(self.chain.lines, torn=end.torn, open_ended=end.open_ended)
                # Asked once: afterwards they witness what was written here, or could not be written.
                seen = (stored_summary(self.folder), witnesses.known(self.folder)) if just_opened else (None, None)
                if found := mend(self.folder, whole, *seen):
                    self._add(write_line(found, prev=self.chain.head, actor="hissway"))
                yield

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
        with durable.job_errors("read the journal", path):
            stat = path.stat()
        # The size alone would miss another journal of the same length put in its place.
        if (stat.st_size, stat.st_mtime_ns) == (self._size, self._written_ns):
            return Chain(())
        if not self._written_ns and stat.st_size == self._size:  # just opened
            self._written_ns = stat.st_mtime_ns
            return Chain(())
        chain = read_journal(self.folder)
        if chain.broken or not chain.holds(self.chain):
            raise JobError(
                f"{path}: is not the journal that was opened, nor one that goes on from it: another program wrote to "
                "it, or a copy was put in its place; nothing was written; open the job again"
            )
        if chain.head != self.chain.head:
            known = {e.id for e in self.chain.events()}
            self._news += [e for e in chain.events() if e.id not in known]
            self._take_in(chain)
        # A torn end may be a line that another program is still writing: it is looked at again.
        if not chain.torn:
            self._written_ns = stat.st_mtime_ns
        return chain

    def append(self, *payloads: Payload, actor: str | None = None, known: Job | None = None) -> Job:
        """Write events, all or none; they are on disk (fsync) when this returns the new job.

        ``known`` is the job as whoever decided saw it, where that was a while ago; else as it is known here now.

        Raises JobError: opened to read only, disk full, read-only, folder gone...: the job is as it was before.
        JobChanged: a decision, signature or result on a round of which another program wrote something not known
        here yet: nothing was written, and it is known now."""
        # Before the turn is taken: what is read in under it was not seen by whoever decided.
        known = known or self.job
        with self.writing():
            # Asked under the turn: no line of another program can slip in between this and the writing.
            if what := unseen(known, self.job, payloads):
                raise JobChanged(what)
            head, new = self.chain.head, list[Line]()
            for payload in payloads:
                new.append(write_line(payload, prev=head, actor=self.actor if actor is None else actor))
                head = new[-1].hash
            self._add(*new)
            return self.job

    def foreseen(self, job: Job, *payloads: Payload) -> Job:
        """``job`` as it will be once these are on a disk that takes its time; nothing is written."""
        lines = (write_line(payload, prev=self.chain.head, actor=self.actor) for payload in payloads)
        return fold((line.event for line in lines), job)

    def _add(self, *new: Line) -> None:
        path = self.folder / JOURNAL
        chain = Chain((*self.chain.lines, *new))
        if any(isinstance(line.event.payload, Merged) for line in new):
            # Held against the whole journal first: a fault found once it is written would close the job.
            chain = read_chain(chain.data)
            if chain.broken:
                raise JobError(f"{path}: what came in cannot be added: {chain.broken}; nothing was written")
        with durable.job_errors("write to the journal", path):
            durable.append(path, Chain(new).data, self._size)
            self._written_ns = path.stat().st_mtime_ns
        self._take_in(chain)
        self._summarize()

    def _summarize(self) -> None:
        with suppress(OSError):
            # May fail: the list of jobs reads the journal itself where the summary does not fit it.
            stat = (self.folder / JOURNAL).stat()
            write_summary(self.folder, summarize(self.job, self.chain, stat))
        # Even where the summary could not be written: the two bear witness apart from each other.
        witnesses.note(self.folder, self.job.id, self.chain)
