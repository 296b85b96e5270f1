"""``hissway verify``: everything a job claims, computed again."""

from __future__ import annotations

import argparse
from pathlib import Path

from listen.voice.text import plain

SUMMARY = "compute again what a job claims: file hashes, journal chain, signatures, every stored result"
EXAMPLE = "hissway verify bench-engine.zip"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    parser.add_argument("job", metavar="JOB_OR_ZIP", help="a job folder, the name of one of your jobs, a bag, or a zip")
    parser.add_argument("--no-results", action="store_true", help="do not judge the stored results again (quicker)")
    parser.add_argument("--json", action="store_true", help="one JSON object instead of lines of text")


def run(args: argparse.Namespace) -> int:
    """Verify; exit 1 if anything does not match."""
    import msgspec

    from listen.jobs.exchange.verify_bag import verify_path
    from listen.jobs.folder.find_job import find_job
    from listen.jobs.folder.store import jobs_root

    path = Path(args.job)
    if not path.is_file():
        path = find_job(args.job, jobs_root(args.jobs))
    found = verify_path(path, results=not args.no_results)
    if args.json:
        print(msgspec.json.encode({"ok": found.ok, **msgspec.to_builtins(found)}).decode())
        return 0 if found.ok else 1
    for remark in found.remarks:
        print(f"remark     {plain(remark)}")
    for m in found.mismatches:
        print(f"MISMATCH   {m.what}: {plain(m.name)}: {plain(m.text)}")
    counted = f"{found.events} events, {found.clips} clips, {found.signatures} signatures, {found.results} results"
    verdict = "all match" if found.ok else f"{len(found.mismatches)} do not match"
    print(f"{plain(found.job) or path}: {counted} checked; {verdict}")
    return 0 if found.ok else 1
