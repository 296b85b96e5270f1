"""An invented shop's job small enough to pack hundreds of times, and real enough to be judged."""

from __future__ import annotations

from pathlib import Path

from listen.errors import ClipError
from listen.jobs import events as ev
from listen.jobs.exchange.verification import Against
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.store import create_job
from listen.jobs.to_round import judged, to_round
from listen.judge.result import RoundResult
from listen.rounds.model import Round
from tests.jobs.made import leave_part, result
from tests.jobs.short import begin_round

POINTS = ("intake", "tailpipe")


def quick_judge(round_: Round) -> RoundResult:
    """A judge that depends on clips and facts and costs nothing: for tests of everything but the judge."""
    import hashlib

    import msgspec

    try:
        digest = hashlib.sha256(b"".join(t.path.read_bytes() for t in round_.takes)).digest()
    except OSError as e:
        raise ClipError(f"{e.filename}: cannot be read") from e
    probability = digest[0] / 300 + (round_.facts.loss_percent or 0) / 1000  # below 1, as a probability must be
    said = result()
    return msgspec.structs.replace(said, verdict=msgspec.structs.replace(said.verdict, probability=probability))


QUICK = Against(judge=quick_judge)


def record(opened: OpenJob, round_id: str, point: str, kind: str, walk: str, seed: int, seconds: float = 0.05) -> str:
    """One clip: louder with the air on."""
    part = opened.new_part(round_id, point, kind, walk)
    leave_part(part.path, seed=seed, level=0.02 if kind == "air" else 0.005, seconds=seconds)
    opened.keep(part)
    return part.clip


def small_job(root: Path, title: str = "Bench engine", *, seconds: float = 0.05, judge=quick_judge) -> Path:
    """A job with one judged round of two points; gives its folder."""
    with create_job(root, title=title, shop="Invented & Sons", actor="Ann") as opened:
        round_id = begin_round(opened, 1)
        reading = {"cylinder": 1, "round_id": round_id}
        opened.append(
            ev.ReadingEntered(reading="supply", value=80, unit="psi", si=551.6, **reading),
            ev.ReadingEntered(reading="loss", value=27, unit="percent", si=27.0, **reading),
        )
        for seed, (walk, kind) in enumerate((("quiet", "quiet"), ("air", "air"))):
            for n, point in enumerate(POINTS):
                record(opened, round_id, point, kind, walk, 10 * seed + n, seconds)
        opened.append(ev.ByEarCalled(round_id=round_id, paths=("intake-valve",), sure=0.7, name="Ann"))
        opened.append(judged(opened.job, round_id, judge(to_round(opened.job, round_id, opened.folder))))
        return opened.folder
