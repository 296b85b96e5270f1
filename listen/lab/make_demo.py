"""Rebuilds the shipped demo job from its seed: ``python -m listen.lab.make_demo [FOLDER]``."""

from __future__ import annotations

import shutil
import sys
from datetime import UTC, datetime
from pathlib import Path

import msgspec

from listen.lab.demo_scenes import DEMO_SEED, ENGINE, demo_scene
from listen.lab.demo_story import ROUNDS, tell
from listen.lab.ledger import Ledger
from listen.lab.simulator.truth import GENERATOR, SCHEMA
from listen.lab.simulator.write import LABEL, truth_document

BEGAN = datetime(2026, 3, 17, 8, 5, tzinfo=UTC)
"""When the story begins."""


def demo_truth() -> dict[str, object]:
    """What is written beside the demo job: seed, generator, and the truth of every cylinder."""
    told = {t.cylinder: t for t in ROUNDS}
    cylinders = {}
    for n in ENGINE.cylinders:
        only = told[n].only if n in told else None
        cylinders[str(n)] = {
            "round": told[n].round_id if n in told else "",
            **truth_document(demo_scene(n, only, first_try=True)),
        }
    head = {"schema": SCHEMA, "label": LABEL, "simulated": True, "generator": GENERATOR, "seed": DEMO_SEED}
    return {**head, "cylinders": cylinders}


def make_demo(folder: Path) -> Path:
    """Write ``folder/job`` and ``folder/truth.json`` anew; gives the job's folder."""
    job = folder / "job"
    shutil.rmtree(job, ignore_errors=True)
    ledger = Ledger(job, f"hissway demo {DEMO_SEED}", BEGAN)
    tell(ledger)
    ledger.write()
    (folder / "truth.json").write_bytes(msgspec.json.encode(demo_truth()) + b"\n")
    return job


def main() -> int:
    """Rebuild in the folder given, or in this checkout."""
    checkout = Path(__file__).resolve().parents[2] / "recordings" / "demo"
    made = make_demo(Path(sys.argv[1]) if len(sys.argv) > 1 else checkout)
    sys.stderr.write(f"made {made}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
