"""A page made again from the state that it says it comes from, and compared."""

import base64
import re
from collections.abc import Iterator
from html import unescape
from itertools import zip_longest
from pathlib import Path

import msgspec
import numpy as np

from listen.audio.files import read_clip
from listen.errors import ClipError, ReportError
from listen.jobs.exchange.verification import ALONE, Against, Mismatch, Verification
from listen.jobs.exchange.verify import verify_job
from listen.jobs.exchange.verify_results import first_difference
from listen.jobs.folder.chain import Chain, read_journal
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.to_round import program_version
from listen.report.build import page_of
from listen.report.content import Origin
from listen.temporary_folder import temporary_folder
from listen.voice.times import moment_and_zone

_META = re.compile(r'<meta name="hissway-origin" content="([^"]*)">')
_SOUND = re.compile(r"data:audio/mpeg;base64,([^\"')]*)")
"""Sounds: another machine's encoder may give other bytes for the same."""
_MOMENT = re.compile(r"\d{4}-\d\d-\d\d(?: \d\d:\d\d)?(?: \(UTC[+-]\d\d\))?")
MOST_BYTES = 400_000_000
_TAG = re.compile(r"<[^>]*>")
QUOTED, BEFORE_IT = 120, 40
"""Letters quoted of a line that differs, and how many of them stand before the difference."""
SHOWN = 3
"""Differences told; one forged figure stands in several places."""


def origin_of(page: str, path: Path) -> Origin:
    """What a page says of itself.

    Raises ReportError: it says nothing: no report of this program, or its mark was taken out."""
    found = _META.search(page)
    try:
        return msgspec.json.decode(unescape(found[1]), type=Origin)  # type: ignore[index]
    except (TypeError, msgspec.DecodeError):
        raise ReportError(
            f"{path}: does not say from which state of which job it was made: no page of hissway report, or one "
            "that was changed; verify the job itself"
        ) from None


def read_page(path: Path) -> str:
    """A page as text; ``ReportError`` where it cannot be read."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise ReportError(f"{path}: larger than any report ({MOST_BYTES} bytes)")
        return path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as e:
        raise ReportError(f"{path}: cannot be read as a page ({e})") from e


def verify_report(path: Path, folder: Path, before: Path | None, against: Against = ALONE) -> Verification:
    """Check a page against its job: that the job holds, that it came from it, and that it says what the job says.

    Raises ReportError: no page of this program. JobError: the job cannot be read."""
    page = read_page(path)
    origin = origin_of(page, path)
    found = verify_job(folder, against)
    remarks, whole = list(found.remarks), origin.version == program_version()
    zone = moment_and_zone(origin.made) in page
    faults = tuple(_faults(page, origin, folder, before, remarks, zone=zone, words=whole))
    if not whole:
        remarks.append(f"report: made by version {origin.version}, which words it otherwise: compared by its head only")
    elif not zone:
        remarks.append("report: made in another time zone: its dates and times were not compared")
    for what, there in (("the shop's hit rate", origin.hit_rate), (f"“{origin.contact}”", origin.contact)):
        if there:
            remarks.append(f"report: {what} was put in when it was made, and is not in the job")
    return msgspec.structs.replace(
        found, mismatches=(*faults, *found.mismatches), remarks=tuple(remarks), skipped=found.skipped + (not whole)
    )


def _faults(
    page: str, origin: Origin, folder: Path, before: Path | None, remarks: list[str], *, zone: bool, words: bool
) -> Iterator[Mismatch]:
    then, earlier = _at(folder, origin.head), None
    if then is None or then.job.id != origin.job:
        yield Mismatch("report", "head", "was made from a state that this job never was in")
        return
    if origin.before is not None:
        earlier = _at(before, origin.before[1]) if before else None
        if earlier is None or earlier.job.id != origin.before[0]:
            yield Mismatch("report", "before", "the earlier job beside it, or the state it was used in, is not here")
            return
    if not words:
        return
    again = page_of(then, earlier, origin)
    pairs = [(a, b) for a, b in zip_longest(_words(page), _words(again), fillvalue="") if first_difference(a, b)]
    differ = [(a, b) for a, b in pairs if zone or _MOMENT.sub("", a) != _MOMENT.sub("", b)]
    for on_page, is_ in differ[:SHOWN]:
        here, there = _apart(on_page, is_)
        yield Mismatch("report", "words", f"says “{here}”; made from the job it says “{there}”")
    if len(differ) > SHOWN:
        yield Mismatch("report", "words", f"{len(differ) - SHOWN} further lines differ")
    for n, (heard, made) in enumerate(zip(_SOUND.findall(page), _SOUND.findall(again), strict=False), 1):
        if heard == made:
            continue
        if same_sound(heard, made):
            remarks.append(f"report: sound {n} of the page was written by another encoder, or changed: compare by ear")
        else:
            yield Mismatch("report", "sound", f"sound {n} of the page is not the one made from the job's clips")


def _words(page: str) -> list[str]:
    """Line by line what can be read, and every address, mark and picture: all but the sounds."""
    text = _SOUND.sub("data:audio/mpeg", page)
    return [line for raw in text.splitlines() if (line := " ".join(raw.split()))]


def _apart(on_page: str, is_: str) -> tuple[str, str]:
    """Two lines from shortly before they begin to differ, as they are read."""
    plain = [" ".join(_TAG.sub(" ", line).split()) for line in (on_page, is_)]
    lines = plain if plain[0] != plain[1] else [on_page, is_]
    alike = next((n for n, (a, b) in enumerate(zip(*lines, strict=False)) if a != b), min(map(len, lines)))
    start = max(0, alike - BEFORE_IT)
    return lines[0][start : start + QUOTED], lines[1][start : start + QUOTED]


def _at(folder: Path, head: str) -> OpenJob | None:
    """The job as it was when its journal ended in ``head``; None where it never did."""
    lines = read_journal(folder).lines
    n = next((n for n, line in enumerate(lines, 1) if line.hash == head), 0)
    return OpenJob(folder, Chain(lines[:n]), None) if n else None


MOST_DIFFERENT_DB = 0.0
"""Power of the difference over that of the fainter of the two. Measured with white noise: MP3 of one noise by other
qualities and rates differs by -1.5 to -24 dB, of another noise by +2.5 dB."""
SHIFT_S = 0.06
"""Encoders put a frame or two of silence at the beginning and the end (MPEG-1 layer III: 1,152 samples a frame)."""


def same_sound(a: str, b: str) -> bool:
    """Whether two MP3s, as base64, may be of the same sound; one that cannot be read is none."""

    def samples(file: Path, text: str) -> np.ndarray:
        file.write_bytes(base64.b64decode(text, validate=True))
        return read_clip(file).samples.astype(np.float64)

    try:
        with temporary_folder("hissway-sounds-") as scratch:
            one, other = (samples(scratch / f"{n}.mp3", text) for n, text in enumerate((a, b)))
    except (ClipError, ValueError, OSError):
        return False
    if abs(len(one) - len(other)) > SHIFT_S * 96_000 or not len(one):
        return False
    n = min(len(one), len(other))
    difference = float(np.mean((one[:n] - other[:n]) ** 2))
    # The fainter one: against silence, or a sound turned down, the difference is as strong as the louder one alone.
    fainter = min(float(np.mean(sound[:n] ** 2)) for sound in (one, other))
    return difference <= fainter * 10 ** (MOST_DIFFERENT_DB / 10)
