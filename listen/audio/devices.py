"""Inputs and outputs by name: listing them, and finding the one a user means; what
C libraries print on file descriptor 2 (ALSA does, at length) is kept apart from what we say on stderr."""

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Literal

from listen.audio.library import device_tables
from listen.errors import DeviceNotFound

ALSA_RATE_HZ = 48_000
"""Asked for first on ALSA: PortAudio reports 44.1 kHz there for any device that can resample, whatever its own rate;
sound servers and USB microphones run at 48 kHz."""


@dataclass(frozen=True, slots=True)
class Device:
    index: int
    """PortAudio's number; changes when devices come and go."""
    name: str
    host_api: str
    """Sound system it belongs to, for example ``ALSA``."""
    rate_hz: int
    """Asked of it first."""
    reported_hz: int
    """What PortAudio says is its own."""
    channels: int
    is_default: bool
    label: str
    """Its name, with its sound system and a number where several have that name: no two have one label."""


Direction = Literal["input", "output"]
WHAT: dict[Direction, str] = {"input": "microphone", "output": "loudspeaker"}


def listed(way: Direction) -> tuple[Device, ...]:
    """All inputs or outputs, in the system's order (``NoPortAudio`` where the library is missing)."""
    rows, hosts, default = device_tables()
    chosen = default[0 if way == "input" else 1]
    rows = [row for row in rows if row[f"max_{way}_channels"] > 0]
    names = [row["name"] for row in rows]
    # Twice the same microphone, or one microphone under each sound system of Windows.
    hosted = [f"{r['name']}, {hosts[r['hostapi']]['name']}" if names.count(r["name"]) > 1 else r["name"] for r in rows]
    return tuple(
        Device(
            index=row["index"],
            name=row["name"],
            host_api=(host := hosts[row["hostapi"]]["name"]),
            rate_hz=ALSA_RATE_HZ if host == "ALSA" else round(row["default_samplerate"]),
            reported_hz=round(row["default_samplerate"]),
            channels=row[f"max_{way}_channels"],
            is_default=row["index"] == chosen,
            label=f"{hosted[n]} {hosted[:n].count(hosted[n]) + 1}" if hosted.count(hosted[n]) > 1 else hosted[n],
        )
        for n, row in enumerate(rows)
    )


def find(way: Direction, spec: str | int | None = None) -> Device:
    """The input or output meant by ``spec``: None for the default, a number, or (part of) a name in any case.

    Raises DeviceNotFound: none such, or several; the message lists what there is."""
    devices = listed(way)
    if not devices:
        raise DeviceNotFound(f"no {WHAT[way]} found; plug one in and try again")
    if spec is None:
        # A system may name no default; then the first is better than a refusal.
        return next((d for d in devices if d.is_default), devices[0])
    matches = _matching(devices, spec)
    if len(matches) == 1:
        return matches[0]
    known = ", ".join(f"{d.index} {d.label}" for d in matches or devices)
    raise DeviceNotFound(f"{'several' if matches else 'no'} {way}s called {spec!r}; there are: {known}")


def _matching(devices: Sequence[Device], spec: str | int) -> list[Device]:
    if isinstance(spec, int) or spec.isdecimal():
        return [d for d in devices if d.index == int(spec)]
    wanted = spec.casefold()
    exact = [d for d in devices if d.label.casefold() == wanted] or [
        # Its name; or name and sound system, as chosen when another of its name was there.
        d
        for d in devices
        if d.name.casefold() in (wanted, wanted.removesuffix(f", {d.host_api}".casefold()))
    ]
    # A whole name goes before a part of one: "USB" must not be ambiguous beside "USB Audio".
    return exact[:1] or [d for d in devices if wanted in d.name.casefold()]


@contextmanager
def native_stderr_dropped() -> Iterator[None]:
    """Send file descriptor 2 to nowhere while ``sys.stderr`` still reaches the user; for commands, once, at the top."""
    try:
        kept = os.dup(2)
    except OSError:  # no file descriptor 2: nothing can print on it
        yield
        return
    before = sys.stderr
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        sys.stderr = os.fdopen(os.dup(kept), "w", buffering=1, encoding="utf-8", errors="backslashreplace")
        os.dup2(nowhere, 2)
        yield
    finally:
        sys.stderr.close()
        sys.stderr = before
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)
