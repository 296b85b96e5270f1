"""``hissway report``: one page for owner and shop, made from a job."""

import argparse
import sys
from pathlib import Path

from listen.cli.out_file import check_place, form_of
from listen.errors import JobError, UsageError
from listen.jobs.folder.chain import read_journal
from listen.jobs.folder.store import find_job, jobs_root
from listen.jobs.hit_rate import calls, csv_text
from listen.report.before_part import hit_rate_rows
from listen.report.build import FILE_FORMS, Wanted, all_jobs, report_text, show, usual_place, write_report, write_text


def run(args: argparse.Namespace) -> int:
    """Make the report; data on standard output or in FILE, talk on standard error."""
    root = jobs_root(args.jobs)
    to = Path(args.output) if args.output and args.output != "-" else None
    form = args.format or (form_of(to, (*FILE_FORMS, "csv")) if to else "html")
    if form == "csv":
        return _calls(to, args, root)
    if args.job is None:
        raise UsageError("no JOB named; name a job, or ask for the shop's calls with --hit-rate --format csv")
    folder = find_job(args.job, root)
    if not read_journal(folder).lines:
        raise JobError(f"{folder}: its journal holds no whole event; hissway verify tells more")
    # Looked up for its type: from here on it is one of the forms of a report.
    kept = next(f for f in FILE_FORMS if f == form)
    if to is None and args.open:
        to = usual_place(folder, kept)
        to.parent.mkdir(parents=True, exist_ok=True)
    if to:
        check_place(to, form)
    wanted = Wanted(
        kept,
        audio=not args.no_audio,
        before=find_job(args.before, root) if args.before else None,
        shop=root if args.hit_rate else None,
        language=args.language,
        contact=args.contact,
    )
    if not to and form == "pdf":
        raise UsageError("a PDF is not written to standard output; name a file with -o")
    if not to:
        sys.stdout.write(report_text(folder, wanted))
        return 0
    size = write_report(folder, to, wanted)
    print(f"{to}: {size / 1e6:.1f} MB", file=sys.stderr)
    if args.open and not show(to):
        print(f"nothing here opens it by itself; open {to} by hand", file=sys.stderr)
    return 0


def _calls(to: Path | None, args: argparse.Namespace, root: Path) -> int:
    """Write every call by ear and by tool that a teardown has answered, and say how often each was right."""
    if not args.hit_rate or args.job is not None:
        raise UsageError("csv holds the shop's calls, not one job: hissway report --hit-rate --format csv [-o FILE]")
    if to:
        check_place(to, "csv")
    jobs = tuple(all_jobs(root))
    scored = calls(jobs)
    if not to:
        sys.stdout.write(csv_text(scored))
    else:
        write_text(to, csv_text(scored))
    for row in hit_rate_rows(jobs) or (("no teardown has been recorded yet: there is no hit rate",),):
        print("  ".join(row), file=sys.stderr)
    return 0
