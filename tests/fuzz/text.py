"""The fuzzer's doors for small texts: readings beside a round, names of its files, drills and sessions."""

from __future__ import annotations

import os
import random
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from listen.errors import LabError
from tests.fuzz.mutate import TOKENS, as_json, mutate_bytes, mutate_json

FACTS: dict[str, Any] = {
    "loss_percent": 27.0,
    "supply_kpa": 550,
    "restrictor_mm": 1.0,
    "cylinder": 3,
    "bubbles_seen": True,
    "top_found_again": True,
    "compression_dry_kpa": 900,
    "compression_wet_kpa": 1050,
    "firing_order": [1, 3, 4, 2],
}
DRILL: dict[str, Any] = {"id": "own-1", "title": "From our jobs", "level": "own", "rounds": 2, "sealed_with": "00"}
SESSION = (
    b'{"type":"opened","session":"s","drill":"practice","title":"t","level":"practice","total":1,"started":"2026-01-01"}'
    b'\n{"type":"met","held_to":"22be"}\n{"type":"heard","paths":["rings"],"sure":0.5,"time":"2026","seconds":1.0}\n'
    b'{"type":"answer","item":"i","paths":["rings"],"sure":0.5,"truth":["rings"],"time":"2026","seconds":1.0,"seed":1}'
)
NAMES = b"intake-quiet-1.flac|intake-air-1.FLAC|plug-hole-2-air-03.wav|radiator-shut.wav|round.json|notes.txt"


def json_like(example: dict[str, Any]) -> Callable[[random.Random, list[bytes]], bytes]:
    def make(rng: random.Random, seeds: list[bytes]) -> bytes:
        return mutate_bytes(rng, seeds, TOKENS) if rng.random() < 0.3 else as_json(mutate_json(rng, example))

    return make


def read_facts(data: bytes, room: Path) -> None:
    from listen.rounds.evaluate import judge_points
    from listen.rounds.loose import read_folder

    (room / "round.json").write_bytes(data)
    (room / "intake-air-1.flac").write_bytes(b"")
    round_ = read_folder(room)
    if len(data) % 8 == 0:  # judging costs much more than reading
        judge_points("fuzz", _measured(), round_.facts)


_POINTS: list[Any] = []


def _measured() -> list[Any]:
    """Two small points, measured once in this process."""
    if not _POINTS:
        import numpy as np

        from listen.signal.clip import Clip
        from listen.signal.point import measure_point
        from listen.trade.points import Kind

        rng = np.random.default_rng(1)
        for point in ("intake", "radiator"):
            clips = [(k, Clip.of(rng.normal(size=96_000) * 0.01, 48_000)) for k in (Kind.QUIET, Kind.AIR)]
            _POINTS.append(measure_point(point, clips))
    return _POINTS


def read_names(data: bytes, room: Path) -> None:
    from listen.rounds.loose import read_folder

    for name in data.split(b"|")[:50]:
        safe = name.replace(b"/", b"_").replace(b"\0", b"_")[:250]
        if safe not in (b"", b".", b"..") and not safe.startswith(b"round.json"):
            Path(os.fsdecode(os.path.join(os.fsencode(room), safe))).write_bytes(b"")  # noqa: PTH118  names as bytes
    read_folder(room)


def read_drill(data: bytes, room: Path) -> None:
    from listen.lab.training.drills import own_drills, read_drill

    file = room / "drills" / "own-1.drill"
    file.parent.mkdir(parents=True)
    file.write_bytes(b"hissway.drill/2\n" + data)
    own_drills(room)
    read_drill(file)


def read_session(data: bytes, room: Path) -> None:
    from listen.lab.training.book import START, books, sum_after

    (room / "one.jsonl").write_bytes(data)
    before, lines = START, []
    for raw in data.split(b"\n")[:20]:  # the same lines with sums that hold
        before = sum_after(before, raw)
        lines.append(b'{"record":%s,"sum":"%s"}\n' % (raw, before.encode()))
    (room / "two.jsonl").write_bytes(b"".join(lines))
    for name in ("one", "two"):
        (room / name).mkdir()
        (room / f"{name}.jsonl").rename(room / name / "s.jsonl")
    for name in ("one", "two"):
        with suppress(LabError):
            list(books(room / name))
