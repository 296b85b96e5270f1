"""Makes the report of a job folder in one of its forms."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from listen.durable import whole_file
from listen.errors import JobError, ReportError
from listen.jobs.job import Job
from listen.report.assemble import assemble, read_job

Form = Literal["html", "md", "json"]
FORMS: tuple[Form, ...] = ("html", "md", "json")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a report is to hold, and in which form."""

    form: Form = "html"
    audio: bool = True
    """Whether the page carries its sounds (HTML only)."""
    before: Path | None = None
    """Folder of an earlier job on the same engine, to stand beside this one."""
    shop: Path | None = None
    """Folder of all jobs, for the shop's own hit rate; None leaves it out."""


def report_text(folder: Path, wanted: Wanted = Wanted()) -> str:
    """The report of a job folder (only read) as text.

    Raises
    ------
    JobError
        A folder holds no job, or cannot be read.
    """
    earlier = read_job(wanted.before).job if wanted.before else None
    opened = read_job(folder)
    report = assemble(opened, before=earlier, shop=all_jobs(wanted.shop) if wanted.shop else ())
    if wanted.form == "html":
        from listen.report.html import html

        return html(report, opened.folder, audio=wanted.audio)
    from listen.report.text import json_text, markdown_text

    return markdown_text(report) if wanted.form == "md" else json_text(report)


def all_jobs(root: Path) -> Iterator[Job]:
    """Every job under the root that can be read."""
    from listen.jobs.folder.summary import list_jobs

    for row in list_jobs(root):
        with suppress(JobError):
            yield read_job(root / row.folder).job


def write_report(folder: Path, path: Path, wanted: Wanted = Wanted()) -> int:
    """Write the report to a file, whole or not at all; gives its size in bytes.

    Raises
    ------
    JobError
        As :func:`report_text`.
    ReportError
        The file cannot be written.
    """
    return write_text(path, report_text(folder, wanted))


def write_text(path: Path, text: str) -> int:
    """Write text to a file, whole or not at all; gives its size in bytes.

    Raises
    ------
    ReportError
        The file cannot be written.
    """
    data = text.encode("utf-8")
    try:
        with whole_file(path, sync=False) as file:
            file.write(data)
    except OSError as error:
        raise ReportError(
            f"{path}: the report cannot be written there ({error.strerror or error}); choose -o"
        ) from error
    return len(data)
