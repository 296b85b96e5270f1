"""The job's photos as a reader meets them: where they belong, in words, and the picture for a page."""

import base64

from listen.jobs.job import Job
from listen.report.content import PhotoPart
from listen.voice import times
from listen.voice.text import plain

OWNER_SEES = 2
"""Photos on the owner's page; the shop's part has all."""


def photo_parts(job: Job) -> tuple[PhotoPart, ...]:
    """Photos in use, in the order kept."""
    return tuple(
        PhotoPart(
            photo=p.kept.photo,
            cylinder=p.kept.cylinder,
            words=plain(" · ".join(w for w in (p.kept.of, p.kept.text) if w), 200),
            taken_in=times.moment(p.time),
            width=p.kept.width,
            height=p.kept.height,
            original_sha256=p.kept.original_sha256,
        )
        for p in job.photos
        if not p.taken_back
    )


def addresses(job: Job) -> dict[str, str]:
    """Each photo's picture as an address that a page can hold."""
    return {
        p.kept.photo: "data:image/jpeg;base64," + base64.b64encode(p.kept.picture).decode("ascii")
        for p in job.photos
        if not p.taken_back
    }
