"""What a job's folder must hold after a fault, found out without any code of the product.

Written from the form of a job folder alone: lines of JSON that carry their own sum and the hash of the line before,
FLAC files under the names and hashes that the lines tell.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

GENESIS = hashlib.sha256(b"hissway.journal/1").hexdigest()
SUM_BYTES = len(',"sum":""}') + 64


def faults_of(jobs: Path, said: list[str]) -> list[str]:
    """Every promise made in ``said`` that the folder does not keep, in words."""
    names = [line.split(" ", 1)[1] for line in said if line.startswith("job ")]
    if not names:
        return []
    try:
        told = events(jobs / names[0] / "journal.jsonl")
    except (OSError, ValueError, KeyError) as error:
        return [f"the journal cannot be read: {error}"]
    notes = [e["payload"]["text"] for e in told if e["kind"] == "note-added"]
    clips = {e["payload"]["clip"]: e["payload"] for e in told if e["kind"] == "clip-kept"}
    promised = [line.split(" ", 1) for line in said if " " in line]
    found = [f"note {text!r} is not there once" for kind, text in promised if kind == "note" and notes.count(text) != 1]
    found += [f"clip {clip} is lost" for kind, clip in promised if kind == "clip" and clip not in clips]
    heard = {line.split()[1]: int(line.split()[2]) for line in said if line.startswith("sound ")}
    for clip, payload in clips.items():
        found += _clip_faults(jobs / names[0] / "clips" / f"{clip}.flac", payload, heard.pop(clip, 0))
    found += [f"take {clip}: {samples} samples had arrived and nothing is left" for clip, samples in heard.items()]
    return found + _leftovers(jobs / names[0], set(clips))


def events(journal: Path) -> list[dict[str, Any]]:
    """Every event of a journal whose chain holds (``ValueError`` says where it does not)."""
    before, found = GENESIS, []
    data = journal.read_bytes()
    if not data.endswith(b"\n"):
        raise ValueError("the last line is not whole")
    for raw in data.splitlines():
        event = json.loads(raw)
        if hashlib.sha256(raw[:-SUM_BYTES] + b"}").hexdigest() != event["sum"] or event["prev"] != before:
            raise ValueError(f"the chain breaks at event {len(found) + 1}")
        before = hashlib.sha256(raw).hexdigest()
        found.append(event)
    return found


def _clip_faults(file: Path, payload: dict[str, Any], heard: int) -> list[str]:
    try:
        data = file.read_bytes()
        if hashlib.sha256(data).hexdigest() != payload["sha256"]:
            return [f"{file.name} is not the file that was acknowledged"]
        samples, rate_hz = soundfile.read(file)
    except (OSError, soundfile.LibsndfileError) as error:
        return [f"{file.name} cannot be read: {error}"]
    if rate_hz != payload["rate_hz"] or len(samples) != round(payload["seconds"] * rate_hz):
        return [f"{file.name} has {len(samples)} samples, not what its event says"]
    if len(samples) < heard or not np.any(samples):
        return [f"{file.name} has {len(samples)} samples; {heard} had arrived"]
    return []


def _leftovers(job: Path, clips: set[str]) -> list[str]:
    """Files nobody will ever look for again; one summary's passing file may wait for its hour."""
    ours = {"journal.jsonl", "job.json", ".lock", ".turn", *(f"clips/{clip}.flac" for clip in clips)}
    found = {p.relative_to(job).as_posix() for p in job.rglob("*") if p.is_file()} - ours
    found = {name for name in found if not name.startswith("journal-torn-")}
    passing = {name for name in found if name.startswith(".hissway-")}
    return [f"left behind: {name}" for name in sorted(found - passing)] + (
        [f"{len(passing)} passing files pile up"] if len(passing) > 1 else []
    )
