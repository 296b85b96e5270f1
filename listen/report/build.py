"""Makes the report of a job folder in one of its forms."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Literal

from listen.errors import ReportError
from listen.report.assemble import assemble, read_job

Form = Literal["html", "md", "json"]
FORMS: tuple[Form, ...] = ("html", "md", "json")


def report_text(folder: Path, *, form: Form = "html", audio: bool = True, before: Path | None = None) -> str:
    """The report as text.

    Parameters
    ----------
    folder
        Job folder; only read.
    audio
        Whether the page carries its sounds (HTML only).
    before
        Folder of an earlier job on the same engine, to stand beside this one.

    Raises
    ------
    JobError
        A folder holds no job, or cannot be read.
    """
    earlier = read_job(before).job if before else None
    opened = read_job(folder)
    report = assemble(opened, before=earlier)
    if form == "html":
        from listen.report.html import html

        return html(report, opened.folder, audio=audio)
    from listen.report.text import json_text, markdown_text

    return markdown_text(report) if form == "md" else json_text(report)


def write_report(
    folder: Path, path: Path, *, form: Form = "html", audio: bool = True, before: Path | None = None
) -> int:
    """Write the report to a file, whole or not at all; gives its size in bytes.

    Raises
    ------
    JobError
        As :func:`report_text`.
    ReportError
        The file cannot be written.
    """
    data = report_text(folder, form=form, audio=audio, before=before).encode("utf-8")
    passing = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        passing.write_bytes(data)
        passing.replace(path)
    except OSError as error:
        raise ReportError(
            f"{path}: the report cannot be written there ({error.strerror or error}); choose -o"
        ) from error
    finally:
        passing.unlink(missing_ok=True)
    return len(data)
