"""What checking a job gives: what does not match, what is worth knowing, what was left unchecked; what a signature is
worth here, by the keys known and those asked for; and whether the files are those that the journal speaks of."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Literal

import msgspec
from msgspec.structs import replace

from listen.jobs.events import ClipKept, JournalMended
from listen.jobs.exchange.bag import stray
from listen.jobs.exchange.keys import KnownKey, fingerprint
from listen.jobs.exchange.sign import SignatureCheck
from listen.jobs.fold import fold
from listen.jobs.folder.chain import JOURNAL, Chain, broken_words
from listen.jobs.folder.parts import CLIPS
from listen.jobs.folder.witnesses import SUMMARY, JobSummary, summarize
from listen.jobs.hearing import same_person
from listen.judge.result import RoundResult
from listen.rounds.model import Round
from listen.voice.times import day, moment

What = Literal["journal", "history", "clip", "signature", "decision", "result", "summary", "bag", "report"]


class Mismatch(msgspec.Struct, frozen=True):
    what: What
    name: str
    text: str


Judge = Callable[[Round], RoundResult]


def judge_of_today(round_: Round) -> RoundResult:
    """The judge of this program, loaded when it is first needed."""
    from listen.rounds.evaluate import evaluate

    return evaluate(round_)


class Against(msgspec.Struct, frozen=True, kw_only=True):
    """What a job is held against besides itself."""

    judge: Judge | None = judge_of_today
    """Judges every stored result again from its clips (a few seconds a round); None: none is."""
    keys: tuple[KnownKey, ...] = ()
    demanded: tuple[str, ...] = ()
    """Public keys, hex, by one of which every signature must be made; empty where none is asked for."""
    head: str = ""
    """Hash of a journal line that must be in its history, as a report or bag printed it; empty where none is given."""
    register: bool = True
    """Whether a register beside the job's folder is consulted."""

    def whose(self, public_key: str) -> str:
        """Name under which a key is known; empty where it is not."""
        return next((k.name for k in self.keys if k.public_key == public_key), "")

    def signature_fault(self, check: SignatureCheck, shop: str) -> str:
        """Why a signature does not count as what it says it is; empty where nothing is known against it."""
        if check.state == "bad":
            return check.text
        key, name = check.signed.public_key, check.signed.name
        made = f"made with key {fingerprint(key)}" if key else "a typed name without a key"
        if self.demanded and key not in self.demanded:
            return f"is {made}, not with the key that was asked for"
        if key:
            # Where no list is kept no key is strange; a remark asks to compare it.
            if not self.keys or self.demanded or self.whose(key):
                return ""
            return (
                f"{made}, which is not among the keys known here; if it is the one they gave you, hissway key --allow "
                "puts it on the list"
            )
        # Who has a key signs with it: from then on a bare name may be anybody's.
        mine = (k for k in self.keys if same_person(k.name, name) or same_person(k.name, shop))
        known = next((k for k in mine if k.since and k.since <= check.event.time), None)
        return f"{made}, but {known.name} has signed with one since {day(known.since)}" if known else ""


ALONE = Against()


class Verification(msgspec.Struct, frozen=True, kw_only=True):
    job: str
    head: str = ""
    """Hash of the journal's last line: keep it elsewhere, and ``verify --head`` notices any other history."""
    events: int = 0
    clips: int = 0
    signatures: int = 0
    results: int = 0
    """Stored results judged again, or found in what a known key or a known head vouches for."""
    skipped: int = 0
    """Stored results that were not judged again and that nothing vouches for."""
    mismatches: tuple[Mismatch, ...] = ()
    remarks: tuple[str, ...] = ()
    """What is no mismatch but worth knowing: keys to compare, changes after signing, results by an older judge."""

    @property
    def ok(self) -> bool:
        return not self.mismatches


def journal_faults(folder: Path, chain: Chain, summary: JobSummary | None) -> Iterator[Mismatch]:
    empty = not (chain.lines or chain.broken or chain.torn)
    found = {
        "is a link to somewhere else; what it shows may change unseen": (folder / JOURNAL).is_symlink(),
        broken_words(folder, chain).partition(": ")[2]: chain.broken,
        f"ends in {len(chain.torn)} bytes that are no whole event": chain.torn,
        "the end of its last line is missing": chain.open_ended,
        "is empty: it holds no whole event, all of the job is gone": empty,
    }
    yield from (Mismatch("journal", JOURNAL, words) for words, so in found.items() if so)
    for event in chain.events():
        if isinstance(p := event.payload, JournalMended) and (p.events_missing or p.rewritten):
            gone = f"{p.events_missing} event(s) known here were gone" if p.events_missing else "it was another one"
            yield Mismatch("history", JOURNAL, f"when it was opened on {moment(event.time)} {gone}")
    yield from _summary_faults(folder, chain, summary)


def _summary_faults(folder: Path, chain: Chain, stored: JobSummary | None) -> Iterator[Mismatch]:
    if stored is None or stored.events < 0:
        if (folder / SUMMARY).exists():
            yield Mismatch("summary", SUMMARY, "is damaged; delete it and it is made again")
        return
    if stored.events > len(chain.lines):
        n = stored.events - len(chain.lines)
        yield Mismatch("journal", JOURNAL, f"the last {n} event(s), from event {len(chain.lines) + 1}, are gone")
    elif stored.events and chain.lines[stored.events - 1].hash != stored.head:
        yield Mismatch("journal", JOURNAL, f"event {stored.events} is not the one that was written here")
    elif stored.events == len(chain.lines) and not chain.broken:
        # Size and time of the file only tell the list of jobs whether the summary is fresh: in a copy they differ.
        now = replace(
            summarize(fold(chain.events()), chain, None),
            journal_bytes=stored.journal_bytes,
            journal_mtime_ns=stored.journal_mtime_ns,
        )
        if now != stored:
            yield Mismatch("summary", SUMMARY, "does not fit the journal; delete it and it is made again")


def clip_faults(folder: Path, kept: tuple[ClipKept, ...], bad: dict[str, str]) -> Iterator[Mismatch]:
    """Clips that are not the ones that were kept (``bad``: id and why), and files no event speaks of."""
    for clip in kept:
        if why := bad.get(clip.clip):
            yield Mismatch("clip", f"{CLIPS}/{clip.clip}.flac", f"{clip.point}, {clip.walk} walk: {why}")
    try:
        there = sorted(p.name for p in (folder / CLIPS).iterdir() if not p.name.startswith("."))
    except OSError:
        there = []
    ids = {clip.clip for clip in kept}
    for name in there:
        if name.removesuffix(".flac") not in ids and not stray(name):
            yield Mismatch("clip", f"{CLIPS}/{name}", "no event speaks of this file")
