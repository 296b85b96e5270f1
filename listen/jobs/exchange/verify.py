"""Everything a job claims, computed again: journal chain, files, signatures and every stored result."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Literal

import msgspec
from msgspec.structs import replace

from listen.errors import HisswayError
from listen.jobs.events import ClipKept, Judged
from listen.jobs.exchange.histories import Before, histories
from listen.jobs.exchange.same_result import first_difference
from listen.jobs.exchange.sign import check_signatures
from listen.jobs.fold import fold
from listen.jobs.folder.chain import Chain
from listen.jobs.folder.disk import sha256_of
from listen.jobs.folder.journal_file import JOURNAL, broken_words, read_journal
from listen.jobs.folder.parts import CLIPS, is_clip_id
from listen.jobs.folder.summary import SUMMARY, stored_summary, summarize
from listen.jobs.judging import program_version
from listen.jobs.to_round import clips_used, to_round
from listen.judge.result import RoundResult
from listen.rounds.model import Round

Evaluate = Callable[[Round], RoundResult]

What = Literal["journal", "clip", "signature", "result", "summary", "bag"]


class Mismatch(msgspec.Struct, frozen=True):
    """One thing that is not as it was recorded."""

    what: What
    name: str
    """File, event or round it concerns."""
    text: str


class Verification(msgspec.Struct, frozen=True, kw_only=True):
    """What was checked and what does not match."""

    job: str
    """Title of the job."""
    events: int = 0
    clips: int = 0
    signatures: int = 0
    results: int = 0
    mismatches: tuple[Mismatch, ...] = ()
    remarks: tuple[str, ...] = ()
    """What is no mismatch but worth knowing: keys to compare, changes after signing, a mended journal."""

    @property
    def ok(self) -> bool:
        """Whether everything matches."""
        return not self.mismatches


def verify_job(folder: Path, *, results: bool = True, evaluate: Evaluate | None = None) -> Verification:
    """Check a job folder.

    Parameters
    ----------
    results
        Also judge every stored result again from its clips (a few seconds a round).
    evaluate
        How a round is judged; the judge of this program if not given.

    Raises
    ------
    JobError
        Not a job folder, or it cannot be read.
    """
    chain = read_journal(folder)
    job = fold(chain.events())
    kept, clip_faults = _clips(folder, chain)
    signatures = check_signatures(chain)
    faults = [*_journal(folder, chain), *clip_faults]
    faults += [Mismatch("signature", f"{s.name}, round {s.round_id}", s.text) for s in signatures if s.state == "bad"]
    judged = 0
    if results:
        judged, result_faults = _results(folder, chain, evaluate)
        faults += result_faults
    changed = [f"round on cylinder {r.cylinder}: {said}" for r in job.rounds for said in r.changed_after_signing]
    return Verification(
        job=job.title,
        events=sum(1 for _ in chain.events()),
        clips=kept,
        signatures=len(signatures),
        results=judged,
        mismatches=tuple(faults),
        remarks=(*(f"{s.name}: {s.text}" for s in signatures if s.state != "bad"), *changed, *job.troubles),
    )


def _journal(folder: Path, chain: Chain) -> list[Mismatch]:
    faults: list[Mismatch] = []
    if chain.broken:
        faults.append(Mismatch("journal", JOURNAL, broken_words(folder, chain)))
    if chain.torn:
        faults.append(Mismatch("journal", JOURNAL, f"ends in {len(chain.torn)} bytes that are no whole event"))
    if chain.open_ended:
        faults.append(Mismatch("journal", JOURNAL, "the end of its last line is missing"))
    if not (chain.lines or chain.broken or chain.torn):
        faults.append(Mismatch("journal", JOURNAL, "is empty: every event of the job is gone"))
    stored = stored_summary(folder)
    if stored is None or stored.events < 0:
        if (folder / SUMMARY).exists():
            faults.append(Mismatch("summary", SUMMARY, "is damaged; delete it and it is made again"))
        return faults
    if stored.events > len(chain.lines):
        n = stored.events - len(chain.lines)
        faults.append(
            Mismatch("journal", JOURNAL, f"the last {n} event(s), from event {len(chain.lines) + 1}, are gone")
        )
    elif stored.events and chain.lines[stored.events - 1].hash != stored.head:
        faults.append(Mismatch("journal", JOURNAL, f"event {stored.events} is not the one that was written here"))
    elif stored.events == len(chain.lines) and not chain.broken:
        now = replace(
            summarize(fold(chain.events()), chain, None),
            journal_bytes=stored.journal_bytes,
            journal_mtime_ns=stored.journal_mtime_ns,
        )
        if now != stored:
            faults.append(Mismatch("summary", SUMMARY, "does not fit the journal; delete it and it is made again"))
    return faults


def _clips(folder: Path, chain: Chain) -> tuple[int, list[Mismatch]]:
    faults: list[Mismatch] = []
    kept = {p.clip: p for e in chain.events() if isinstance(p := e.payload, ClipKept)}
    for clip in kept.values():
        name = f"{CLIPS}/{clip.clip}.flac"
        why = clip_fault(folder / CLIPS, clip)
        if why:
            faults.append(Mismatch("clip", name, f"{clip.point}, {clip.walk} walk: {why}"))
    try:
        there = sorted(p.name for p in (folder / CLIPS).iterdir() if not p.name.startswith("."))
    except OSError:
        there = []
    strangers = [name for name in there if name.removesuffix(".flac") not in kept]
    faults += [Mismatch("clip", f"{CLIPS}/{name}", "no event speaks of this file") for name in strangers]
    return len(kept), faults


def clip_fault(clips: Path, clip: ClipKept) -> str:
    """Why a clip's file is not the one that was kept; empty where it is."""
    if not is_clip_id(clip.clip):
        return "its id cannot be a file name"
    path = clips / f"{clip.clip}.flac"
    try:
        return "" if sha256_of(path) == clip.sha256 else "the file is not the one that was kept: its hash differs"
    except FileNotFoundError:
        return "the file is missing"
    except OSError as e:
        return f"the file cannot be read ({e.strerror})"


def _results(folder: Path, chain: Chain, evaluate: Evaluate | None) -> tuple[int, list[Mismatch]]:
    if evaluate is None:
        from listen.rounds.evaluate import evaluate as judge

        evaluate = judge
    faults: list[Mismatch] = []
    done: set[str] = set()
    for before in histories(chain.lines):
        payload = before.event.payload
        if isinstance(payload, Judged) and before.event.id not in done:
            done.add(before.event.id)
            why = _result_fault(folder, before, payload, evaluate)
            if why:
                faults.append(Mismatch("result", f"round {payload.round_id}, event {before.event.id}", why))
    return len(done), faults


def _result_fault(folder: Path, before: Before, stored: Judged, evaluate: Evaluate) -> str:
    try:
        if clips_used(before.job, stored.round_id) != stored.clips:
            return "it names other clips than the round held when it was judged"
        again = evaluate(to_round(before.job, stored.round_id, folder))
    except KeyError:
        return "it speaks of a round that is not in the journal before it"
    except HisswayError as e:
        return f"it cannot be computed again: {e}"
    where = first_difference(msgspec.to_builtins(stored.result), msgspec.to_builtins(again))
    if not where:
        return ""
    here = program_version()
    by = f" (judged by version {stored.version}, this is {here})" if stored.version != here else ""
    return f"computed again from its clips it differs at {where}{by}"
