"""``hissway record``: one clip from the real microphone, written safely, with its flags."""

from __future__ import annotations

import argparse
import os
import re
import sys
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from pathlib import Path
from threading import Event
from typing import TYPE_CHECKING, TypeVar

from listen.cli.attended import note_commands
from listen.errors import AudioError, ClipError, RoundError, UsageError, refusal
from listen.switched_take import CYCLES, PERIOD_S, switched_s

if TYPE_CHECKING:
    from listen.audio.microphone import Microphone
    from listen.audio.take import Recording
    from listen.signal.clip import Clip
    from listen.signal.flags import Flag

T = TypeVar("T")
EXAMPLE = "hissway record intake --kind air --seconds 8 -o round-1/intake-air.flac"

KINDS = ("quiet", "air", "sound", "shut", "switched", "switched-sound")
SWITCHED = ("switched", "switched-sound")
SECONDS = 8.0
"""Default length: 8 s bring the limit of detection to 17 dB below a steady shop (radiometer equation, 12 kHz)."""
LONGEST_S = 600.0
"""As long as a clip may be to be read again."""
LONGEST_NAME = 200
"""Bytes of a file's name: file systems take 255, and the unfinished clip's name is longer."""
STOPPED = 130
"""Exit code after Ctrl-C, 128 + SIGINT as shells have it."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("point", metavar="POINT", nargs="?", help="listening point, for example intake or plug-hole-2")
    parser.add_argument("--all", action="store_true", help="all points at once, a channel each; -o is a folder")
    parser.add_argument(
        "--channels",
        metavar="POINTS",
        help="with --all: point of each channel, for example intake,tailpipe,-,radiator; - is unused",
    )
    parser.add_argument(
        "--kind",
        required=True,
        choices=KINDS,
        help="what the cylinder is doing: quiet is air off; switched goes off and on, led by tones",
    )
    parser.add_argument(
        "--seconds", type=float, metavar="S", help=f"length (default: {SECONDS:g}, or what --cycles take)"
    )
    parser.add_argument(
        "--period",
        type=float,
        default=PERIOD_S,
        metavar="S",
        help="switched: from one opening to the next (default: %(default)g)",
    )
    parser.add_argument(
        "--cycles",
        type=int,
        default=CYCLES,
        metavar="N",
        help="switched: how often the air comes on (default: %(default)d)",
    )
    parser.add_argument("--device", metavar="D", help="input by number or name; hissway mic lists them")
    parser.add_argument("-o", "--output", required=True, type=Path, metavar="FILE", help=".flac or .wav, or a folder")
    parser.add_argument("--force", action="store_true", help="replace FILE if it is there")
    parser.add_argument("--finish", action="store_true", help="make FILE from what an interrupted recording left")


def run(args: argparse.Namespace) -> int:
    """Record, write, check; exit code 0 with the clip written, 130 when stopped by Ctrl-C."""
    _check_length(args)
    if args.all:
        from listen.cli.record_all import run_all

        return run_all(args)
    target = _target(args)
    part = target.with_name(target.name + ".part")
    if not args.finish:
        recording = _record(args, target, part)
        if recording is None:
            return STOPPED
    clip = finished(part, target)
    if args.kind in SWITCHED:
        note_commands(target, commands(args))
    tell(target, clip)
    return 0


def commands(args: argparse.Namespace) -> tuple[tuple[float, float], ...]:
    """Commanded times of a switched take; none for another kind."""
    from listen.signal.switching import commanded_times

    return commanded_times(args.cycles, args.period) if args.kind in SWITCHED else ()


def _check_length(args: argparse.Namespace) -> None:
    """Fill in ``--seconds`` and refuse what cannot be."""
    if args.kind in SWITCHED:
        if not 2 <= args.cycles <= 60:
            raise UsageError(f"--cycles {args.cycles}: from 2 to 60 can be switched")
        if not 2.0 <= args.period <= 60.0:
            raise UsageError(f"--period {args.period:g}: from 2 to 60 s can be switched by hand")
        if args.seconds is not None:
            raise UsageError("--seconds: a switched take lasts what --period and --cycles say")
        args.seconds = switched_s(args.cycles, args.period)
    elif args.seconds is None:
        args.seconds = SECONDS
    if not 0.2 <= args.seconds <= LONGEST_S:
        raise UsageError(f"--seconds {args.seconds:g}: from 0.2 to {LONGEST_S:g} s can be recorded")


def _target(args: argparse.Namespace) -> Path:
    from listen.audio.write import FORMS
    from listen.trade.points import point

    if args.point is None or args.channels is not None:
        raise UsageError("give a POINT, or --all with --channels")
    try:
        point(args.point)
    except RoundError as error:
        raise UsageError(str(error)) from error
    target: Path = args.output
    if len(os.fsencode(target.name)) > LONGEST_NAME:
        raise UsageError(f"{target}: the name is too long; at most {LONGEST_NAME} bytes are taken")
    if target.is_dir():
        target = free_name(target, f"{args.point}-{args.kind}")
    if target.suffix.lower() not in FORMS:
        raise UsageError(f"{target}: clips are written as .flac or .wav")
    if not target.parent.is_dir():
        raise UsageError(f"{target.parent}: no such folder; make it first")
    if target.exists() and not args.force:
        raise UsageError(f"{target} is there already; choose another name, or --force to replace it")
    _note_other_name(target, args.point, args.kind)
    return target


def free_name(folder: Path, stem: str) -> Path:
    """``<point>-<kind>.flac`` in ``folder``, numbered after the last take of it there is (no number means 1)."""
    from listen.audio.write import FORMS

    named = re.compile(re.escape(stem) + r"(?:-(\d{1,4}))?", re.IGNORECASE)
    clips = (p.stem for p in folder.iterdir() if p.suffix.lower() in FORMS)
    numbers = [int(found[1] or 1) for name in clips if (found := named.fullmatch(name))]
    return folder / (f"{stem}-{max(numbers) + 1}.flac" if numbers else f"{stem}.flac")


def _note_other_name(target: Path, point_id: str, kind: str) -> None:
    if not re.fullmatch(re.escape(f"{point_id}-{kind}") + r"(-\d+)?", target.stem):
        print(
            f"note: rank reads point and kind from the file name; {target.name} is not {point_id}-{kind}",
            file=sys.stderr,
        )


def _record(args: argparse.Namespace, target: Path, part: Path) -> Recording | None:
    if part.exists():
        if not args.force:
            raise UsageError(
                f"{part} holds an interrupted recording; --finish makes {target.name} of it, --force drops it"
            )
        part.unlink()
    recording = from_microphone(
        args, lambda mic, stop: mic.record(part, args.seconds, stop, told), lambda: _kept(part, target)
    )
    if not recording.cancelled:
        return recording
    part.unlink()
    print(f"stopped after {recording.seconds:.1f} s; nothing was kept, {target} was not written", file=sys.stderr)
    return None


def from_microphone(
    args: argparse.Namespace,
    take: Callable[[Microphone, Event], T],
    kept: Callable[[], str],
    channels: int = 1,
) -> T:
    """What ``take`` records, with the countdown; ``kept`` says what became of the sound where it fails (AudioError)."""
    from listen.audio.devices import native_stderr_dropped
    from listen.audio.lead import Lead
    from listen.audio.microphone import Microphone
    from listen.cli.attended import attended

    lead = Lead(commands(args), args.seconds) if args.kind in SWITCHED else None
    with native_stderr_dropped():
        microphone = Microphone(args.device, channels=channels)
        microphone.open()
        try:
            return attended(microphone, partial(take, microphone), args.seconds, lead)
        except AudioError as error:
            raise type(error)(f"{error}; {kept()}") from error
        finally:
            microphone.close()


def told(channel: int, sentence: str) -> None:
    """Say at once what goes wrong in a take."""
    print(f"again: {sentence}", file=sys.stderr, flush=True)


def _kept(part: Path, target: Path) -> str:
    from listen.audio.partial import read_part

    try:
        read_part(part)
    except ClipError:
        part.unlink(missing_ok=True)
        return "nothing was kept"
    return f"they are in {part}, and --finish makes {target.name} of them"


def finished(part: Path, target: Path) -> Clip:
    """The clip made of a part (``AudioError`` where the disk refuses; the part stays)."""
    from listen.audio.partial import finish

    with refusal(
        AudioError, f"{target}: cannot be written", f"the sound is kept in {part.name}, make room and use --finish"
    ):
        return finish(part, target)


def tell(target: Path, clip: Clip) -> None:
    """Say what was written and what is doubtful about it."""
    from listen.signal.quality import check_clip
    from listen.signal.spectra import spectra

    lost = f", {clip.overflows} overflows" if clip.overflows else ""
    print(f"{target}: {clip.seconds:.2f} s at {clip.rate_hz} Hz from {clip.device}{lost}")
    flags: tuple[Flag, ...] = ()
    with suppress(ClipError):  # too short for spectra: said by the length above, and again by whoever judges it
        flags = check_clip(clip, spectra(clip))
    for flag in flags:
        print(f"{'again' if flag.reject else 'note'}: {flag.flag}: {flag.text}")
    if not flags:
        print("no flags")
