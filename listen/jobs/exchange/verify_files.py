"""What a job's files claim, checked: the journal holds, nothing is a link, every clip is the one that was kept."""

from collections.abc import Iterator
from pathlib import Path

from msgspec.structs import replace

from listen.jobs.events import ClipKept, JournalMended
from listen.jobs.exchange.bag import stray
from listen.jobs.exchange.verification import Mismatch
from listen.jobs.fold import fold
from listen.jobs.folder.chain import JOURNAL, Chain, broken_words
from listen.jobs.folder.disk import link_in, sha256_of
from listen.jobs.folder.parts import CLIPS, is_clip_id
from listen.jobs.folder.summary import SUMMARY, JobSummary, summarize
from listen.voice.times import moment


def journal_faults(folder: Path, chain: Chain, summary: JobSummary | None) -> Iterator[Mismatch]:
    if (folder / JOURNAL).is_symlink():
        yield Mismatch("journal", JOURNAL, "is a link to somewhere else; what it shows may change unseen")
    if chain.broken:
        yield Mismatch("journal", JOURNAL, broken_words(folder, chain).partition(": ")[2])
    if chain.torn:
        yield Mismatch("journal", JOURNAL, f"ends in {len(chain.torn)} bytes that are no whole event")
    if chain.open_ended:
        yield Mismatch("journal", JOURNAL, "the end of its last line is missing")
    if not (chain.lines or chain.broken or chain.torn):
        yield Mismatch("journal", JOURNAL, "is empty: every event of the job is gone")
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


def clip_fault(clips: Path, clip: ClipKept) -> str:
    """Why a clip's file is not the one that was kept; empty where it is."""
    if not is_clip_id(clip.clip):
        return "its id cannot be a file name"
    path = clips / f"{clip.clip}.flac"
    try:
        if link_in(path, clips.parent):
            return "is a link to somewhere else; what it holds may change unseen"
        if path.exists() and not path.is_file():
            return "is no file of sound"
        return "" if sha256_of(path) == clip.sha256 else "the file is not the one that was kept: its hash differs"
    except FileNotFoundError:
        return "the file is missing"
    except OSError as e:
        return f"the file cannot be read ({e.strerror})"
