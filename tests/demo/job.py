"""Makes the shipped recordings from their seeds: ``python -m tests recordings [FOLDER]``."""

from __future__ import annotations

import argparse
import shutil
import sys
from datetime import UTC, datetime
from pathlib import Path

import msgspec

from listen.lab.simulator.scene import GENERATOR
from tests.demo.drills import make_drills
from tests.demo.ledger import Ledger
from tests.demo.scenes import DEMO_SEED, ENGINE, demo_scene
from tests.demo.story import ROUNDS, scene, tell
from tests.lab.truths import LABEL, SCHEMA, truth_document

SUMMARY = "make the shipped demo job and drills anew from their seeds"
EXAMPLE = "python -m tests recordings"
RECORDINGS = Path(__file__).resolve().parents[2] / "recordings"
BEGAN = datetime(2026, 3, 17, 8, 5, tzinfo=UTC)
"""When the story begins."""


def demo_truth() -> dict[str, object]:
    """What is written beside the demo job: seed, generator, and the truth of every cylinder."""
    told = {t.cylinder: t for t in ROUNDS}
    cylinders = {}
    for n in ENGINE.cylinders:
        cylinders[str(n)] = {
            "round": told[n].round_id if n in told else "",
            **truth_document(scene(told[n]) if n in told else demo_scene(n)),
        }
    head = {"schema": SCHEMA, "label": LABEL, "simulated": True, "generator": GENERATOR, "seed": DEMO_SEED}
    return {**head, "cylinders": cylinders}


def make_demo(folder: Path) -> Path:
    """Write ``folder/job``, ``folder/truth.json`` and ``folder/scenes.json`` anew; gives the job's folder."""
    job = folder / "job"
    shutil.rmtree(job, ignore_errors=True)
    ledger = Ledger(job, f"hissway demo {DEMO_SEED}", BEGAN)
    tell(ledger)
    ledger.write()
    (folder / "truth.json").write_bytes(msgspec.json.encode(demo_truth()) + b"\n")
    scenes = {n: demo_scene(n) for n in ENGINE.cylinders}
    (folder / "scenes.json").write_bytes(msgspec.json.encode(scenes) + b"\n")
    return job


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Where to."""
    parser.add_argument("folder", nargs="?", type=Path, default=RECORDINGS, help="default: this checkout's recordings")


def run(args: argparse.Namespace) -> int:
    """Make demo job and drills in the folder given."""
    sys.stderr.write(f"made {make_demo(args.folder / 'demo')}\n")
    make_drills(args.folder / "drills")
    sys.stderr.write(f"made {args.folder / 'drills'}\n")
    return 0
