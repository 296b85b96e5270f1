"""``hissway pack``, ``unpack``, ``salvage``: a job written for another machine, taken in, brought back where damaged.

Folder and file are data, what happened is talk.
"""

import argparse
import sys
from pathlib import Path

from listen.jobs.exchange.pack import pack
from listen.jobs.exchange.salvage import salvage
from listen.jobs.exchange.unpack import unpack
from listen.jobs.folder.store import find_job, jobs_root
from listen.jobs.job_rules import salvaged_words
from listen.voice.figures import counted
from listen.voice.text import plain


def pack_job(args: argparse.Namespace) -> int:
    folder = find_job(args.job, jobs_root(args.jobs))
    to = args.output or Path(f"{folder.name}.zip")
    size = pack(folder, to)
    print(f"{to}  {size / 1e6:.1f} MB")
    return 0


def unpack_job(args: argparse.Namespace) -> int:
    done = unpack(args.zip, jobs_root(args.jobs))
    came = f"{counted(done.events, 'event')} came in"
    return _told(done.folder, f"{done.how.replace('-', ' ')}: {plain(done.text)} ({came})")


def salvage_job(args: argparse.Namespace) -> int:
    root = jobs_root(args.jobs)
    folder, told, clips = salvage(find_job(args.job, root), root)
    return _told(folder, f"{plain(salvaged_words(told))}; whole: {counted(clips, 'clip')}")


def _told(folder: Path, what: str) -> int:
    print(folder)
    print(what, file=sys.stderr)
    return 0
