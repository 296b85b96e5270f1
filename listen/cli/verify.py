"""``hissway verify``: everything a job claims, computed again."""

import argparse
import re
from pathlib import Path

import msgspec

from listen.errors import UsageError
from listen.jobs.exchange.keys import as_key, known_keys
from listen.jobs.exchange.verification import Against, Verification, judge_of_today
from listen.jobs.exchange.verify import verify_path
from listen.jobs.folder.store import find_job, jobs_root
from listen.voice.figures import counted
from listen.voice.text import json_line, plain

INCOMPLETE = 3
"""Exit code where nothing was found, but results were left unchecked on request and nothing vouches for them."""


def run(args: argparse.Namespace) -> int:
    against, path = _against(args), Path(args.job)
    if path.is_file() and _is_page(path):
        found = _page(path, args, against)
    else:
        path = path if path.is_file() else find_job(args.job, jobs_root(args.jobs))
        found = verify_path(path, against)
    code = 1 if not found.ok else INCOMPLETE if found.skipped else 0
    if args.json:
        print(json_line({"ok": code == 0, **msgspec.to_builtins(found)}))
        return code
    for remark in found.remarks:
        print(f"remark     {plain(remark, 1000)}")
    for m in found.mismatches:
        print(f"MISMATCH   {m.what}: {plain(m.name)}: {plain(m.text, 1000)}")
    print(f"{plain(found.job) or plain(path)}: {_counted(found)}")
    print(f"head       {found.head}")
    return code


def _is_page(path: Path) -> bool:
    with path.open("rb") as file:
        return b"<!doctype html" in file.read(200).lower()


def _page(path: Path, args: argparse.Namespace, against: Against) -> Verification:
    from listen.report.origin import origin_of, read_page, verify_report

    root, origin = jobs_root(args.jobs), origin_of(read_page(path), path)
    folder = find_job(args.of or origin.job, root)
    before = find_job(origin.before[0], root) if origin.before else None
    return verify_report(path, folder, before, against)


def _against(args: argparse.Namespace) -> Against:
    """What the job is held against: today's judge unless left out, keys known here and asked for, and a head."""
    head = args.head.strip().lower()
    if head and re.fullmatch("[0-9a-f]{64}", head) is None:
        raise UsageError(f"--head {plain(args.head, 80)}: a head is 64 hex digits, as a report or verify prints it")
    judge = None if args.no_results else judge_of_today
    demanded = tuple(as_key(k) for k in args.key or ())
    return Against(judge=judge, keys=known_keys(), demanded=demanded, head=head)


def _counted(found: Verification) -> str:
    held = {"event": found.events, "clip": found.clips, "signature": found.signatures, "result": found.results}
    checked = f"{', '.join(counted(n, what) for what, n in held.items())} checked"
    if not found.ok:
        return f"{checked}; NOT matching: {len(found.mismatches)}"
    if found.skipped:
        return f"{checked}; {counted(found.skipped, 'result')} NOT checked: a forged verdict would not be noticed"
    return f"{checked}; all match"
