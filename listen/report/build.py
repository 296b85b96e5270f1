"""Makes the report of a job folder in one of its forms; as PDF by whatever browser of the Chromium family there is."""

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal, get_args

from listen.durable import A_DAY_S, sweep, whole_file
from listen.errors import JobError, ReportError, refusal
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.store import list_jobs, open_job
from listen.jobs.job import Job
from listen.jobs.to_round import program_version
from listen.report.assemble import assemble
from listen.report.before_part import hit_rate_rows
from listen.report.content import Origin
from listen.report.kept_parts import addresses
from listen.report.owner_words import Language
from listen.report.pages import html, json_text, markdown_text
from listen.same_fields import same_fields
from listen.temporary_folder import temporary_folder

Form = Literal["html", "md", "json", "pdf"]
FILE_FORMS: tuple[Form, ...] = get_args(Form)


@dataclass(frozen=True, slots=True)
class Wanted:
    form: Form = "html"
    audio: bool = True
    """Whether the page carries its sounds (HTML only)."""
    before: Path | None = None
    """Folder of an earlier job on the same engine, to stand beside this one."""
    shop: Path | None = None
    """Folder of all jobs, for the shop's own hit rate; None leaves it out."""
    language: Language = "en"
    contact: str = ""
    """How the owner reaches the shop; empty: as the job has it."""
    unfolded: bool = False
    """Whether everything that folds away lies open, for paper (HTML only)."""


def report_text(folder: Path, wanted: Wanted = Wanted()) -> str:
    """The report of a job folder (only read) as text. Raises JobError: a folder holds no job, or cannot be read."""
    opened = open_job(folder, write=False)
    earlier = open_job(wanted.before, write=False) if wanted.before else None
    return page_of(opened, earlier, origin_now(opened, earlier, wanted), wanted.form)


def origin_now(opened: OpenJob, earlier: OpenJob | None = None, wanted: Wanted = Wanted()) -> Origin:
    """What a report made at this moment comes from."""
    return Origin(
        job=opened.job.id,
        head=opened.chain.head,
        version=program_version(),
        made=datetime.now(UTC).isoformat(timespec="seconds"),
        **same_fields(wanted, "language", "contact", "audio", "unfolded"),
        before=(earlier.job.id, earlier.chain.head) if earlier else None,
        hit_rate=hit_rate_rows(all_jobs(wanted.shop)) if wanted.shop else (),
    )


def page_of(opened: OpenJob, earlier: OpenJob | None, origin: Origin, form: Form = "html") -> str:
    """The report of an open job as text; made again from the same origin it is the same."""
    report = assemble(opened, origin, earlier.job if earlier else None)
    if form == "html":
        return html(report, opened.folder, addresses(opened.job), origin)
    return markdown_text(report) if form == "md" else json_text(report)


def all_jobs(root: Path) -> Iterator[Job]:
    """Every job under the root that can be read."""
    for row in list_jobs(root):
        with suppress(JobError):
            yield open_job(root / row.folder, write=False).job


def write_report(folder: Path, path: Path, wanted: Wanted = Wanted()) -> int:
    """Write the report to a file, whole or not at all; gives its size in bytes.

    Raises JobError: as :func:`report_text`. ReportError: the file cannot be written."""
    if wanted.form == "pdf":
        return print_pdf(report_text(folder, replace(wanted, form="html", audio=False, unfolded=True)), path)
    return write_text(path, report_text(folder, wanted))


def usual_place(folder: Path, form: Form = "html") -> Path:
    """Where the report of a job goes when nobody says where: the user's documents."""
    from platformdirs import user_documents_path

    return user_documents_path() / f"{folder.name}-report.{form}"


def show(path: Path) -> bool:
    """Open a report with what the system opens such files with; False where it has nothing for it."""
    import webbrowser

    return webbrowser.open(path.absolute().as_uri())


def write_text(path: Path, text: str) -> int:
    """Write text to a file, whole or not at all; gives its size in bytes.

    Raises ReportError: the file cannot be written."""
    data = text.encode("utf-8")
    with refusal(ReportError, f"{path}: the report cannot be written there", "choose -o"):
        sweep(path.parent, older_s=A_DAY_S)  # what a report that was killed left
        with whole_file(path, sync=False) as file:
            file.write(data)
    return len(data)


NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge", "microsoft-edge")
PLACES = (
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    r"C:\Program Files\Google\Chrome\Application\chrome.exe",
    r"C:\Program Files (x86)\Microsoft\Edge\Application\msedge.exe",
)
"""Where they lie on systems that keep them off the command path."""
FLAGS = ("--headless", "--disable-gpu", "--no-first-run", "--no-pdf-header-footer", "--disable-background-networking")
PATIENCE_S = 120.0


def browser() -> str | None:
    named = (shutil.which(name) for name in NAMES)
    return next((b for b in named if b), None) or next((p for p in PLACES if Path(p).is_file()), None)


def print_pdf(page: str, path: Path) -> int:
    """Print an HTML page to a PDF file, whole or not at all; gives its size in bytes.

    Raises ReportError: there is no such browser, it fails, or the file cannot be written."""
    found = browser()
    if found is None:
        raise ReportError(
            f"{path}: no Chromium, Chrome or Edge here to print a PDF; write the .html page, open it and print it"
        )
    refused = refusal(ReportError, f"{path}: the report cannot be written there", "choose -o")
    # Beside the file: browsers shut into a box of their own may read home, but not the system's temporary folder.
    with refused, temporary_folder(".hissway-report-", path.absolute().parent) as scratch:
        _print(found, page, scratch).replace(path)
    return path.stat().st_size


def _print(found: str, page: str, scratch: Path) -> Path:
    source, made = scratch / "report.html", scratch / "report.pdf"
    source.write_text(page, "utf-8")
    command = [found, *FLAGS, f"--user-data-dir={scratch / 'profile'}", f"--print-to-pdf={made}", source.as_uri()]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        command.insert(
            1, "--no-sandbox"
        )  # Chromium refuses to run as root otherwise; the page is ours and runs nothing
    try:
        done = subprocess.run(command, capture_output=True, timeout=PATIENCE_S, check=False)
    except subprocess.TimeoutExpired as error:
        raise ReportError(
            f"{found} did not print within {PATIENCE_S:.0f} s; open the .html page and print it"
        ) from error
    if not made.is_file() or not made.read_bytes().startswith(b"%PDF"):
        raise ReportError(f"{found} could not print (exit code {done.returncode}); open the .html page and print it")
    return made
