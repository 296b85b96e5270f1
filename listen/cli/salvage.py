"""``hissway salvage``: a damaged job brought back into a new one."""

import argparse
import sys

from listen.jobs.exchange.salvage import salvage
from listen.jobs.folder.store import find_job, jobs_root
from listen.jobs.job_rules import salvaged_words
from listen.voice.figures import counted
from listen.voice.text import plain

EXAMPLE = "hissway salvage 2026-03-02-tractor-a1b2c3"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("job", metavar="JOB", help="a job folder, or the name of one of your jobs")


def run(args: argparse.Namespace) -> int:
    """Salvage; the new folder is data, what came back is talk."""
    root = jobs_root(args.jobs)
    done = salvage(find_job(args.job, root), root)
    print(done.folder)
    print(f"{plain(salvaged_words(done.told))}; whole: {counted(done.clips, 'clip')}", file=sys.stderr)
    return 0
