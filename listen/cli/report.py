"""``hissway report``: one page for owner and shop, made from a job."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from listen.errors import ReportError

SUMMARY = "make a report of a job: one HTML page with drawings, plots and playable clips (or Markdown, or JSON)"
EXAMPLE = "hissway report bench-engine -o report.html"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    parser.add_argument("job", metavar="JOB", nargs="?", help="a job folder, or the name of one of your jobs")
    parser.add_argument("-o", "--output", metavar="FILE", help="file to write (default: standard output)")
    parser.add_argument(
        "--format",
        choices=("html", "md", "json", "csv"),
        help="form of the report (default: by FILE, else html); csv: every call behind the hit rate, JOB not needed",
    )
    parser.add_argument("--no-audio", action="store_true", help="leave the playable clips out of the page")
    parser.add_argument("--hit-rate", action="store_true", help="add the shop's own hit rate over all its teardowns")
    parser.add_argument("--before", metavar="JOB", help="an earlier job on the same engine, to stand beside this one")


def run(args: argparse.Namespace) -> int:
    """Make the report; data on standard output or in FILE, talk on standard error."""
    from listen.jobs.folder.find_job import find_job
    from listen.jobs.folder.store import jobs_root
    from listen.report.build import FORMS, Form, Wanted, report_text, write_report

    root = jobs_root(args.jobs)
    suffix = Path(args.output).suffix.lower().lstrip(".") if args.output else ""
    if args.format == "csv" or (args.format is None and suffix == "csv"):
        return _calls(args, root)
    if args.job is None:
        raise ReportError("no JOB named; name a job, or ask for the shop's calls with --hit-rate --format csv")
    folder = find_job(args.job, root)
    before = find_job(args.before, root) if args.before else None
    chosen: Form = next((f for f in FORMS if f == suffix), "html")
    form: Form = args.format or chosen
    wanted = Wanted(form, audio=not args.no_audio, before=before, shop=root if args.hit_rate else None)
    if not args.output or args.output == "-":
        sys.stdout.write(report_text(folder, wanted))
        return 0
    size = write_report(folder, Path(args.output), wanted)
    print(f"{args.output}: {size / 1e6:.1f} MB", file=sys.stderr)
    return 0


def _calls(args: argparse.Namespace, root: Path) -> int:
    """Write every call by ear and by tool that a teardown has answered, and say how often each was right."""
    from listen.jobs.hit_rate import calls, csv_text
    from listen.report.before_part import hit_rate_rows
    from listen.report.build import all_jobs, write_text

    if not args.hit_rate or args.job is not None:
        raise ReportError("csv holds the shop's calls, not one job: hissway report --hit-rate --format csv [-o FILE]")
    jobs = tuple(all_jobs(root))
    said = calls(jobs)
    if not args.output or args.output == "-":
        sys.stdout.write(csv_text(said))
    else:
        write_text(Path(args.output), csv_text(said))
    for row in hit_rate_rows(jobs) or (("no teardown has been recorded yet: there is no hit rate",),):
        print("  ".join(row), file=sys.stderr)
    return 0
