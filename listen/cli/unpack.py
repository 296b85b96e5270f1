"""``hissway unpack``: a packed job taken in among one's own."""

import argparse
import sys
from pathlib import Path

from listen.jobs.exchange.unpack import unpack
from listen.jobs.folder.store import jobs_root
from listen.voice.figures import counted
from listen.voice.text import plain

EXAMPLE = "hissway unpack bench-engine.zip"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "zip", metavar="FILE.zip", type=Path, help="a zip that hissway pack wrote, or the folder it was unpacked to"
    )


def run(args: argparse.Namespace) -> int:
    """Unpack; the job's folder is data, what happened is talk."""
    done = unpack(args.zip, jobs_root(args.jobs))
    print(done.folder)
    print(
        f"{done.how.replace('-', ' ')}: {plain(done.text)} ({counted(done.events, 'event')} came in)", file=sys.stderr
    )
    return 0
