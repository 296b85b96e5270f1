"""Run in a subprocess: records from a real stream as told on stdin, and answers with one JSON line each.

Orders: ``open``, ``record PART SECONDS``, ``trouble`` (wait up to 5 s for one), ``well`` (wait until there is none),
``close``, ``play FILE``, ``stop``, ``drain``. Times are of the monotonic clock, which all processes share.
"""

from __future__ import annotations

import json
import sys
import threading
import time
from pathlib import Path

from listen.audio.files import read_clip, read_part
from listen.audio.microphone import Microphone
from listen.audio.player import Player
from listen.errors import AudioError


def record(mic: Microphone, part: str, seconds: str) -> dict[str, object]:
    (done,) = mic.record([Path(part)], float(seconds), threading.Event())
    assert done is not None
    return {"seconds": done.seconds, "overflows": read_part(done.part).overflows, "gaps": done.gaps}


def trouble(mic: Microphone, wanted: bool) -> dict[str, object]:
    give_up = time.monotonic() + 5
    while time.monotonic() < give_up:
        found = mic.trouble()
        if (found is not None) == wanted:
            return {"trouble": str(found) if found else None}
        time.sleep(0.01)
    return {"trouble": "timeout"}


def play(player: Player, file: str) -> dict[str, object]:
    began = time.monotonic()
    player.play(read_clip(Path(file)))
    return {"returned_s": time.monotonic() - began, "playing": player.playing}


def obey(mic: Microphone, player: Player, order: str, *words: str) -> dict[str, object]:
    match order:
        case "open":
            mic.open()
        case "close":
            mic.close()
        case "record":
            return record(mic, *words)
        case "trouble":
            return trouble(mic, True)
        case "well":
            return trouble(mic, False)
        case "play":
            return play(player, *words)
        case "stop":
            player.stop()
        case "wait":
            give_up = time.monotonic() + float(words[0])
            while player.playing and time.monotonic() < give_up:
                time.sleep(0.005)
            return {"over": not player.playing}
        case "drain":
            return {"samples": sum(len(block) for block in mic.drain())}
    return {"rate_hz": mic.rate_hz, "handles": len(list(Path("/proc/self/fd").iterdir()))}


def main() -> None:
    mic, player = Microphone(sys.argv[1]), Player(sys.argv[2] if len(sys.argv) > 2 else None)
    for line in sys.stdin:
        try:
            answer = obey(mic, player, *line.split())
        except AudioError as error:
            answer = {"error": str(error), "kind": type(error).__name__}
        print(json.dumps(answer | {"at": time.monotonic()}), flush=True)


if __name__ == "__main__":
    main()
