"""The truth of a simulated round on disk, beside its clips: what a scored archive and the shipped recordings hold."""

from __future__ import annotations

from pathlib import Path

import msgspec

from listen.lab.simulator.render import write_round
from listen.lab.simulator.scene import GENERATOR, RoundSpec

SCHEMA = "hissway.truth/1"
LABEL = "SIMULATED. No engine and no microphone: computed from the seed and the description below."


def truth_document(spec: RoundSpec) -> dict[str, object]:
    return {
        "schema": SCHEMA,
        "label": LABEL,
        "simulated": True,
        "generator": GENERATOR,
        "seed": spec.seed,
        "population": spec.population,
        "paths": [str(p) for p in spec.truth.paths],
        "truth": msgspec.to_builtins(spec.truth),
        "spec": msgspec.to_builtins(spec),
    }


def write_with_truth(spec: RoundSpec, folder: Path) -> Path:
    text = msgspec.json.format(msgspec.json.encode(truth_document(spec)), indent=1)
    (write_round(spec, folder) / "truth.json").write_bytes(text + b"\n")
    return folder
