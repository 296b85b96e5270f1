"""``hissway record``: one clip from the real microphone, written safely, with its flags."""

import argparse
import sys
from contextlib import suppress
from pathlib import Path

from listen.audio.devices import native_stderr_dropped
from listen.audio.files import read_part
from listen.audio.lead import Lead
from listen.audio.microphone import Microphone
from listen.audio.take import Recording
from listen.audio.write import finish
from listen.cli.attended import attended, note_commands
from listen.cli.clip_files import clip_files
from listen.errors import AudioError, ClipError, UsageError, refusal
from listen.signal.clip import Clip
from listen.signal.flags import Flag
from listen.signal.quality import check_clip
from listen.signal.spectra import spectra
from listen.signal.switching import commanded_times
from listen.switched_take import CYCLES, PERIOD_S, switched_s

SWITCHED = ("switched", "switched-sound")
SECONDS = 8.0
"""Default length: 8 s bring the limit of detection to 17 dB below a steady shop (radiometer equation, 12 kHz)."""
LONGEST_S = 600.0
"""As long as a clip may be to be read again."""
STOPPED = 130
"""Exit code after Ctrl-C, 128 + SIGINT as shells have it."""


def run(args: argparse.Namespace) -> int:
    """Record, write, check; exit code 0 with all written, 1 where a channel was lost and the others were kept, 130 when
    stopped by Ctrl-C."""
    _check_length(args)
    targets = clip_files(args)
    parts = [None if t is None else t.with_name(t.name + ".part") for t in targets]
    wanted = {p: t for p, t in zip(parts, targets, strict=True) if p is not None and t is not None}
    if args.finish:
        made = [p for p in wanted if p.exists()]
        due = len(made)
        if not made:
            raise UsageError(f"{args.output}: nothing of an interrupted recording is left there")
    else:
        _make_way(wanted, force=args.force)
        recordings = [r for r in _from_microphone(args, parts, wanted) if r is not None]
        stopped = next((r for r in recordings if r.cancelled), None)
        made, due = [] if stopped else [r.part for r in recordings], len(wanted)
        for part in wanted.keys() - set(made):
            part.unlink(missing_ok=True)
        if stopped:
            print(f"stopped after {stopped.seconds:.1f} s; nothing was kept", file=sys.stderr)
            return STOPPED
    together = wanted[made[0]].stem if args.all and made else ""
    return int(sum(_written(part, wanted[part], together, args) for part in made) < due)


def _written(part: Path, target: Path, together: str, args: argparse.Namespace) -> bool:
    """Make the clip of a part and say what is doubtful about it; False where it holds no sound."""
    room = f"the sound is kept in {part.name}, make room and use --finish"
    try:
        with refusal(AudioError, f"{target}: cannot be written", room):
            clip = finish(part, target)
    except ClipError as error:
        if not args.all:
            raise
        # A dead channel's part: the others must not wait for it.
        print(f"again: {error} (--force drops what is left of it)", file=sys.stderr)
        return False
    if on_s := _commands(args):
        note_commands(target, on_s, together)
    _tell(target, clip)
    return True


def _make_way(wanted: dict[Path, Path], *, force: bool) -> None:
    """Drop what an interrupted recording left, or refuse to."""
    for part, target in wanted.items():
        if part.exists() and not force:
            raise UsageError(
                f"{part} holds an interrupted recording; --finish makes {target.name} of it, --force drops it"
            )
    # Only once none refuses: a take is dropped whole or not at all.
    for part in wanted:
        part.unlink(missing_ok=True)


def _commands(args: argparse.Namespace) -> tuple[tuple[float, float], ...]:
    """Commanded times of a switched take; none for another kind."""
    return commanded_times(args.cycles, args.period) if args.kind in SWITCHED else ()


def _check_length(args: argparse.Namespace) -> None:
    """Fill in what was not given and refuse what cannot be."""
    if args.kind in SWITCHED:
        args.cycles = CYCLES if args.cycles is None else args.cycles
        args.period = PERIOD_S if args.period is None else args.period
        if not 2 <= args.cycles <= 60:
            raise UsageError(f"--cycles {args.cycles}: from 2 to 60 can be switched")
        if not 2.0 <= args.period <= 60.0:
            raise UsageError(f"--period {args.period:g}: from 2 to 60 s can be switched by hand")
        if args.seconds is not None:
            raise UsageError("--seconds: a switched take lasts what --period and --cycles say")
        args.seconds = switched_s(args.cycles, args.period)
    elif args.period is not None or args.cycles is not None:
        raise UsageError(f"--period and --cycles say how a switched take goes; --kind {args.kind} has none")
    elif args.seconds is None:
        args.seconds = SECONDS
    if not 0.2 <= args.seconds <= LONGEST_S:
        raise UsageError(f"--seconds {args.seconds:g}: from 0.2 to {LONGEST_S:g} s can be recorded")


def _from_microphone(
    args: argparse.Namespace, parts: list[Path | None], wanted: dict[Path, Path]
) -> tuple[Recording | None, ...]:
    """One take with its countdown, a part for each channel; where it fails AudioError says what became of the sound."""
    lead = Lead(_commands(args), args.seconds) if args.kind in SWITCHED else None
    with native_stderr_dropped():
        microphone = Microphone(args.device, channels=len(parts))
        microphone.open()
        try:
            return attended(
                microphone, lambda stop: microphone.record(parts, args.seconds, stop, _told), args.seconds, lead
            )
        except AudioError as error:
            # Of its own kind, which says whether a device was lost.
            raise type(error)(f"{error}; {_kept(wanted)}") from error
        finally:
            microphone.close()


def _told(channel: int, sentence: str) -> None:
    """Say at once what goes wrong in a take."""
    print(f"again: {sentence}", file=sys.stderr, flush=True)


def _kept(wanted: dict[Path, Path]) -> str:
    kept = []
    for part in wanted:
        try:
            read_part(part)
            kept.append(part)
        except ClipError:
            part.unlink(missing_ok=True)
    if not kept:
        return "nothing was kept"
    return f"they are in {kept[0]}, and --finish makes {wanted[kept[0]].name} of them"


def _tell(target: Path, clip: Clip) -> None:
    """Say what was written and what is doubtful about it."""
    lost = f", {clip.overflows} overflows" if clip.overflows else ""
    print(f"{target}: {clip.seconds:.2f} s at {clip.rate_hz} Hz from {clip.device}{lost}")
    flags: tuple[Flag, ...] = ()
    with suppress(ClipError):  # too short for spectra: said by the length above, and again by whoever judges it
        flags = check_clip(clip, spectra(clip))
    for flag in flags:
        print(f"{'again' if flag.reject else 'note'}: {flag.flag}: {flag.text}")
    if not flags:
        print("no flags")
