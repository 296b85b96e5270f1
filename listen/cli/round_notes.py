"""What a recording adds to the ``round.json`` of its folder: when the air was commanded, what was recorded together."""

import json
import sys
from pathlib import Path


def note_commands(clip: Path, on_s: tuple[tuple[float, float], ...], together: str = "") -> None:
    """Write the commanded times under the clip's name; what else stands in the file stays.

    A ``round.json`` that cannot be read is left alone and told: the edges may still be found in the sound.
    """
    from listen.durable import whole_file

    path = clip.parent / "round.json"
    try:
        notes = json.loads(path.read_bytes()) if path.exists() else {}
        files = notes.setdefault("files", {})
        files[clip.stem] = {"switched": {"on_s": on_s}} | ({"together": together} if together else {})
        with whole_file(path) as file:
            file.write(json.dumps(notes, indent=1).encode() + b"\n")
    except (OSError, ValueError, AttributeError, TypeError) as error:
        print(f"note: {path}: the times of switching were not noted there ({error})", file=sys.stderr)
