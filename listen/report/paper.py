"""The report as a PDF, printed by whatever browser of the Chromium family this machine has."""

import os
import shutil
import subprocess
from pathlib import Path

from listen.errors import ReportError
from listen.temporary_folder import temporary_folder

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome", "msedge", "microsoft-edge")
"""Commands looked for, in this order."""
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
    """The browser that prints, if there is one."""
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
    try:
        # Beside the file: browsers shut into a box of their own may read home, but not the system's temporary folder.
        with temporary_folder(".hissway-report-", path.absolute().parent) as scratch:
            made = _print(found, page, scratch)
            made.replace(path)
    except OSError as error:
        raise ReportError(
            f"{path}: the report cannot be written there ({error.strerror or error}); choose -o"
        ) from error
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
