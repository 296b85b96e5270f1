"""A file named with ``-o``: which endings it may have, and what it may take the place of."""

from collections.abc import Sequence
from pathlib import Path

from listen.errors import UsageError
from listen.jobs.folder.chain import JOURNAL
from listen.jobs.folder.witnesses import SUMMARY

ENDINGS = {"html": (".html", ".htm"), "md": (".md",), "json": (".json",), "csv": (".csv",), "pdf": (".pdf",)}


def form_of(path: Path, forms: Sequence[str]) -> str:
    """The form that a file's ending names. Raises UsageError: another ending, or none."""
    for form in forms:
        if path.suffix.lower() in ENDINGS[form]:
            return form
    known = " ".join(ending for form in forms for ending in ENDINGS[form])
    raise UsageError(f"{path}: its ending does not say what to write; give one of {known}")


def check_place(path: Path, form: str) -> None:
    """Nothing but an older file of the same form may be replaced, and no file of a job.

    Raises UsageError: something else has that name."""
    # Journal and clips have endings that no form has and are refused below; the summary ends as a JSON report does.
    in_job = (path.parent / JOURNAL).exists()
    if in_job and path.name == SUMMARY:
        raise UsageError(f"{path}: is a file of the job itself; choose another name with -o")
    if path.exists() and path.suffix.lower() not in ENDINGS[form]:
        raise UsageError(f"{path}: is there already and is no {form} file; choose another name with -o")
