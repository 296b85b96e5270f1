"""A simulated round on disk: a loose round of sound files with its readings, and the truth beside it."""

from pathlib import Path

import msgspec

from listen.lab.simulator.render import TakeKey, render
from listen.lab.simulator.scene import RoundSpec
from listen.lab.simulator.truth import GENERATOR, SCHEMA

LABEL = "SIMULATED. No engine and no microphone: computed from the seed and the description below."


def clip_name(key: TakeKey) -> str:
    """File name of a clip in a loose round."""
    point, kind, order = key
    return f"{point}-{kind}-{order}.flac"


def truth_document(spec: RoundSpec) -> dict[str, object]:
    """What is written to ``truth.json``."""
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


def write_truth(spec: RoundSpec, path: Path) -> None:
    """Write the truth of a round as JSON."""
    text = msgspec.json.format(msgspec.json.encode(truth_document(spec)), indent=1)
    path.write_bytes(text + b"\n")


def write_round(spec: RoundSpec, folder: Path) -> Path:
    """Write clips, ``round.json`` and ``truth.json`` into ``folder`` (made if missing) and return it."""
    from listen.audio.write import write_flac

    folder.mkdir(parents=True, exist_ok=True)
    for key, clip in render(spec).items():
        write_flac(folder / clip_name(key), clip)
    facts = msgspec.json.format(msgspec.json.encode(spec.facts), indent=1)
    (folder / "round.json").write_bytes(facts + b"\n")
    write_truth(spec, folder / "truth.json")
    return folder
