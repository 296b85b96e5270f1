"""A small valid job that is the same every time: what the fuzzer's journals, bags and reports start from."""

from __future__ import annotations

from pathlib import Path

import msgspec
import numpy as np

from listen.durable import sha256_of
from listen.jobs import events as ev
from listen.jobs.folder.chain import JOURNAL
from listen.jobs.folder.journal import GENESIS, Line, write_line
from listen.jobs.folder.parts import CLIPS
from listen.judge.result import SCHEMA, BubbleRates, PathResult, PointResult, RoundResult, Verdict
from listen.signal.clip import Clip
from listen.signal.flags import Flag
from listen.trade.engine import layout

ROUND = "c3-aaaaaa"
CLIP_IDS = ("aaaaaaaaaaa1", "aaaaaaaaaaa2", "aaaaaaaaaaa3")
RATE_HZ = 16_000


def seed_job(folder: Path) -> Path:
    """Write a job folder with three short clips and an event of nearly every kind."""
    from listen.audio.write import write_clip

    (folder / CLIPS).mkdir(parents=True)
    hashes = []
    for n, clip_id in enumerate(CLIP_IDS):
        noise = np.random.default_rng(n).normal(size=RATE_HZ // 2) * 0.01
        path = folder / CLIPS / f"{clip_id}.flac"
        write_clip(path, Clip.of(noise, RATE_HZ))
        hashes.append(sha256_of(path))
    lines = _chain([*_taken_in(), *_walked(hashes), *_decided()], GENESIS, 0)
    lines += _chain([_signed(lines[-1].hash)], lines[-1].hash, 400)
    lines += _chain([_merged(lines)], lines[-1].hash, 500)
    (folder / JOURNAL).write_bytes(b"".join(line.raw + b"\n" for line in lines))
    return folder


def _chain(payloads: list[ev.Payload], prev: str, first: int) -> list[Line]:
    lines: list[Line] = []
    for n, payload in enumerate(payloads, first):
        time = f"2026-01-05T09:{n // 60 % 60:02d}:{n % 60:02d}.000Z"
        lines.append(write_line(payload, prev=prev, actor="invented", time=time, id=f"{n:016x}"))
        prev = lines[-1].hash
    return lines


def _merged(lines: list[Line]) -> ev.Merged:
    theirs = _chain([ev.NoteAdded(text="from the other bench", round_id=ROUND)], lines[6].hash, 900)
    return ev.Merged(fork=lines[6].hash, lines=tuple(msgspec.Raw(line.raw) for line in theirs), source="other.zip")


def _signed(head: str) -> ev.Signed:
    return ev.Signed(round_id=ROUND, name="B. Invented", role="supervisor", statement="seen", head=head)


def _taken_in() -> list[ev.Payload]:
    return [
        ev.JobOpened(job="0123456789abcdef" * 2, title="Bench engine", shop="Invented shop", engine=layout("inline-4")),
        ev.PersonChosen(role="tech", name="A. Invented"),
        ev.SymptomNoted(symptom="misfire", cylinder=3),
        ev.PlugSeen(cylinder=3, conditions=("normal",)),
        ev.ReadingEntered(reading="compression-dry", value=130, unit="psi", si=896.3, cylinder=3),
        ev.ReadingEntered(reading="compression-wet", value=132, unit="psi", si=910.1, cylinder=3),
        ev.RoundOpened(round_id=ROUND, cylinder=3),
        ev.CautionAcknowledged(caution="set-up", round_id=ROUND),
        ev.ReadingEntered(reading="supply", value=80, unit="psi", si=551.6, round_id=ROUND),
        ev.ReadingEntered(reading="loss", value=27, unit="percent", si=27, cylinder=3, round_id=ROUND),
    ]


def _walked(hashes: list[str]) -> list[ev.Payload]:
    kinds = (("quiet", "quiet"), ("air", "air"), ("quiet", "closing"))
    clips = [
        ev.ClipKept(
            clip=clip_id,
            round_id=ROUND,
            point="intake",
            clip_kind=kind,
            walk=walk,
            take=1,
            sha256=digest,
            seconds=0.5,
            rate_hz=RATE_HZ,
            device="invented microphone",
            gaps=((0.1, 0.06),),
            flags=(Flag(flag="unsteady", value=3.1, limit=2.0, text="The background moves."),),
        )
        for clip_id, digest, (kind, walk) in zip(CLIP_IDS, hashes, kinds, strict=True)
    ]
    return [
        *clips,
        ev.PointSkipped(round_id=ROUND, point="radiator", reason="cap hot"),
        ev.ByEarCalled(round_id=ROUND, paths=("intake-valve",), sure=0.7, name="A. Invented"),
        ev.BubblesLooked(round_id=ROUND, seen="no"),
        ev.AirFollowed(round_id=ROUND, seen="yes"),
        ev.TopFoundAgain(round_id=ROUND, loss_percent=27.0),
    ]


def _decided() -> list[ev.Payload]:
    return [
        ev.Judged(round_id=ROUND, result=_result(), clips=CLIP_IDS, version="0"),
        ev.Overruled(round_id=ROUND, name="B. Invented", paths=("intake-valve",), reason="heard it"),
        ev.FindingRecorded(cylinder=3, paths=("intake-valve",), text="burnt seat"),
        ev.NoteAdded(text="ordered a valve", cylinder=3),
    ]


def _result() -> RoundResult:
    point = PointResult(
        point="intake",
        excess_db=4.2,
        excess_ci95_db=(3.6, 4.8),
        level_db=-61.0,
        level_is_upper_bound=False,
        level_unit="dBFS",
        detected=True,
        detection_limit_db=0.3,
        drift_db=0.2,
        bubbles_per_s=BubbleRates(quiet=0.0, air=0.0),
    )
    verdict = Verdict(kind="path", paths=("intake-valve",), probability=0.94, text="Intake valve.", next="")
    path = PathResult(path="intake-valve", probability=1.0, evidence_db={"intake": 13.1}, involved=1.0)
    return RoundResult(schema=SCHEMA, round="c3", points=(point,), paths=(path,), verdict=verdict)
