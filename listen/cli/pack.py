"""``hissway pack``: a job written as a zip for another machine."""

import argparse
from pathlib import Path

from listen.jobs.exchange.pack import pack
from listen.jobs.folder.store import find_job, jobs_root

EXAMPLE = "hissway pack 2026-01-05-bench-engine-3f2a1b -o bench-engine.zip"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="a job folder, or the name of one among your jobs")
    parser.add_argument("-o", "--output", metavar="FILE.zip", type=Path, help="zip to write (default: the job's name)")


def run(args: argparse.Namespace) -> int:
    folder = find_job(args.job, jobs_root(args.jobs))
    to = args.output or Path(f"{folder.name}.zip")
    size = pack(folder, to)
    print(f"{to}  {size / 1e6:.1f} MB")
    return 0
