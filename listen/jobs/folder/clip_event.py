"""The event that says a clip is whole on disk, from the file and what the microphone told of it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from msgspec.structs import replace

from listen.jobs.events import ClipKept
from listen.jobs.folder.disk import sha256_of
from listen.jobs.folder.parts import Partial
from listen.jobs.job import Job

if TYPE_CHECKING:
    from listen.audio.source import Recording
    from listen.signal.clip import Clip


def clip_event(job: Job, part: Partial, clip: Clip, flac: Path) -> ClipKept:
    """Make the event for ``clip``, just written whole to ``flac``."""
    return ClipKept(
        clip=part.clip,
        round_id=part.round_id,
        point=part.point,
        clip_kind=part.clip_kind,
        walk=part.walk,
        take=job.round(part.round_id).takes(part.point, part.walk) + 1,
        sha256=sha256_of(flac),
        seconds=clip.seconds,
        rate_hz=clip.rate_hz,
        device=clip.device,
        overflows=clip.overflows,
        gain_db=clip.gain_db,
        started=clip.taken.isoformat() if clip.taken else None,
        on_s=part.on_s,
        together=part.together,
    )


def with_particulars(kept: ClipKept, recording: Recording) -> ClipKept:
    """The event with what the microphone told while recording."""
    return replace(
        kept,
        device=recording.device,
        overflows=recording.overflows,
        started=recording.started.isoformat(),
        gaps=tuple((float(at), float(length)) for at, length in recording.gaps),
    )
