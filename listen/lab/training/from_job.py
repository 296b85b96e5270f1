"""A job with findings becomes a drill: one round a cylinder whose truth a teardown showed, without any names."""

from collections.abc import Collection
from functools import partial
from pathlib import Path
from secrets import token_hex

import msgspec

from listen.audio.files import read_clip
from listen.errors import LabError, RoundError, refusal
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.hearing import pair_at
from listen.jobs.hit_rate import OF_THE_TEST
from listen.jobs.job import Job, RoundRecord
from listen.jobs.to_round import to_round
from listen.lab.simulator.render import TakeKey
from listen.lab.training.drills import SUFFIX, DrillSet, write_drill
from listen.lab.training.held import Held
from listen.lab.training.lesson import clue
from listen.rounds.model import Facts, Round
from listen.rounds.switching import pair
from listen.signal.clip import Clip
from listen.trade.points import Kind, PathId, point

HALVES = {Kind.SWITCHED: (Kind.QUIET, Kind.AIR), Kind.SWITCHED_SOUND: (Kind.SOUND,)}
"""A switched take is met as the clips its halves make. A sound cylinder lends only what it sounded like with air."""


def rounds_with_truth(job: Job) -> tuple[tuple[RoundRecord, ...], dict[int, str]]:
    """Of every cylinder with a finding the last round before it, where the finding is the truth of that round; and why
    a cylinder has none that can be learnt from, by number."""
    taken, left_out = [], {}
    for cylinder in sorted(job.findings):
        before = job.before_finding.get(cylinder, ())
        last = [job.round(one.id) for one in before[-1:]]
        if why := _unfit(*last) if last else "no round was made before the teardown":
            left_out[cylinder] = why
        taken += [] if why else last
    return tuple(taken), left_out


def superseded(job: Job) -> dict[int, str]:
    """What is said, by cylinder, where the round taken was not the only one before the teardown."""
    warnings = {}
    for last in rounds_with_truth(job)[0]:
        before = [job.round(r.id) for r in job.before_finding[last.cylinder][:-1]]
        results = [r.verdict.result.verdict for r in (*before, last) if r.verdict is not None]
        if before:
            warnings[last.cylinder] = f"its last round before the teardown is taken, {len(before)} earlier left out"
        if len({(v.kind, *v.paths) for v in results}) > 1:
            warnings[last.cylinder] += "; they said otherwise, look whether it is the one you mean"
    return warnings


def _unfit(record: RoundRecord) -> str:
    """Why a round cannot be learnt from; empty where it can."""
    if not any(pair_at(record, c.kept.point) for c in record.live_clips()):
        return "its last round before the teardown has no clip with the air on beside a quiet one"
    if record.verdict is None or record.stale:
        return "its last round before the teardown was not judged to its end"
    kind = record.verdict.result.verdict.kind
    if kind in OF_THE_TEST:
        return f"its last round before the teardown was a {kind} to be mended, not what the teardown showed"
    return ""


def drill_from_job(opened: OpenJob, file: Path, title: str = "", *, key: bytes) -> tuple[DrillSet, dict[int, str]]:
    """Write a drill from a job's rounds with findings into ``file`` (new); gives it and why cylinders were left out.

    Titles, people, notes, devices and times stay behind; sound, loss and what the teardown showed go along. A person's
    words about the finding stay behind too: they may hold a name. Points, clips and readings that not every round has
    stay behind as well: what was looked at tells what was suspected.

    Raises LabError: no round has a finding, the file exists, or the disk refuses."""
    records, left_out = rounds_with_truth(opened.job)
    rounds = {r.cylinder: to_round(opened.job, r.id, opened.folder) for r in records}
    truths = {n: tuple(map(PathId, opened.job.findings[n].paths)) or (PathId.NONE,) for n in rounds}
    for n in [n for n, paths in truths.items() if not _heard_of(paths, _common(rounds.values()))]:
        left_out[n] = "where its leak comes out was not listened to on every cylinder; that would tell it"
        del rounds[n]
    if not rounds:
        why = "; ".join(f"cylinder {n}: {w}" for n, w in left_out.items()) or "record what the teardown showed first"
        raise LabError(f"{opened.folder.name}: no finding recorded that a round can be held against; {why}")
    title = title or f"From a job of this shop, {len(rounds)} round{'s' if len(rounds) > 1 else ''}"
    simulated = opened.job.simulated
    drill = DrillSet(
        id=file.name.removesuffix(SUFFIX),
        title=title,
        about=f"Rounds of a {'simulated' if simulated else 'real'} job; the truth is what the teardown showed.",
        simulated=simulated,
        rounds=len(rounds),
    )
    common = _common(rounds.values())
    told = frozenset.intersection(*(frozenset(msgspec.to_builtins(r.facts)) for r in rounds.values()))
    made = [partial(_held, taken, truths[n], common, told) for n, taken in rounds.items()]
    return write_drill(drill, made, file, key), left_out


def _common(rounds: Collection[Round]) -> frozenset[tuple[str, Kind]]:
    """Points and kinds of clips that every round has; a point counts where it was heard quiet and with the air on."""
    every = [{(t.point, kind) for t in r.takes for kind in HALVES.get(t.kind, (t.kind,))} for r in rounds]
    shared = frozenset.intersection(*map(frozenset, every)) if every else frozenset()
    return frozenset((p, k) for p, k in shared if {(p, Kind.QUIET), (p, Kind.AIR)} <= shared)


def _heard_of(paths: tuple[PathId, ...], common: frozenset[tuple[str, Kind]]) -> bool:
    """Whether a truth can be heard at the points that all rounds have; who leaks nowhere, or everywhere, always can."""
    own = {path for p, _ in common for path in point(p).row.own} | {PathId.NONE, PathId.FITTING, PathId.SET_UP}
    return bool(common) and set(paths) <= own


def _held(taken: Round, paths: tuple[PathId, ...], common: frozenset[tuple[str, Kind]], told: frozenset[str]) -> Held:
    clips: dict[TakeKey, Clip] = {}
    for take in taken.takes:
        kinds = HALVES.get(take.kind, (take.kind,))
        if (take.point, kinds[-1]) not in common:
            continue
        with refusal(RoundError, f"{take.path.name}: cannot be read"):
            found = pair([take.path], take.on_s) if take.kind in HALVES else (read_clip(take.path),)
        clips |= {(take.point, k, take.order): c for k, c in zip(kinds, found[-len(kinds) :], strict=True)}
    facts = {k: v for k, v in msgspec.to_builtins(taken.facts).items() if k in told}
    return Held(
        id=token_hex(4),
        clips=clips,
        facts=msgspec.convert(facts, Facts),
        truth=tuple(map(str, paths)),
        focus=tuple(map(str, paths)),
        gave_away=clue(paths),
    )
