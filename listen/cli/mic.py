"""``hissway mic``: lists inputs, or checks one for what hiss needs."""

import argparse
import sys
import threading

import msgspec

from listen.audio.devices import listed, native_stderr_dropped
from listen.audio.files import read_part
from listen.audio.microphone import Microphone
from listen.signal.clip import Clip
from listen.signal.quality_mic import check_microphone
from listen.signal.spectra import spectra
from listen.temporary_folder import temporary_folder
from listen.voice.text import json_line

CHECK_S = 4.0
"""Length of the check: long enough for a knock on the bench to show gain control let go again."""


def run(args: argparse.Namespace) -> int:
    """List or check; exit code 1 where there is no input or the one checked is not usable."""
    with native_stderr_dropped():
        return _list(args.json) if args.device is None else _check(args.device, args.json)


def _list(as_json: bool) -> int:
    found = listed("input")
    if as_json:
        named = {"index": "index", "name": "name", "system": "host_api", "rate_hz": "rate_hz", "channels": "channels"}
        rows = [{key: getattr(d, field) for key, field in named.items()} | {"default": d.is_default} for d in found]
        print(json_line({"schema": "hissway.mic/1", "inputs": rows}))
    else:
        for d in found:
            print(f"{d.index:3} {d.name}  {d.rate_hz} Hz  {d.host_api}{'  default' if d.is_default else ''}")
    if not found:
        print("hissway: no microphone found; plug one in and try again", file=sys.stderr)
    return 0 if found else 1


def _check(device: str, as_json: bool) -> int:
    clip = _listen(device)
    report = check_microphone(clip, spectra(clip))
    if as_json:
        print(json_line({"schema": "hissway.mic/1", "device": clip.device, **msgspec.to_builtins(report)}))
    else:
        print(f"{clip.device}: {report.text}")
        print(f"  rate      {report.rate_hz} Hz")
        print(f"  bandwidth {report.bandwidth_hz / 1000:.1f} kHz")
        print(f"  floor     {report.floor_dbfs:.1f} dBFS")
        print(f"  clipped   {'yes' if report.clipped else 'no'}")
        for flag in report.signs:
            print(f"  {flag.flag}: {flag.text}")
    return 1 if report.verdict == "not-usable" else 0


def _listen(device: str) -> Clip:
    microphone = Microphone(device)
    microphone.open()
    print(f"listening for {CHECK_S:g} s; knock on the bench once, then leave it alone", file=sys.stderr)
    try:
        with temporary_folder("hissway-mic-") as folder:
            part = folder / "check.part"
            microphone.record([part], CHECK_S, threading.Event())
            return read_part(part)
    finally:
        microphone.close()
