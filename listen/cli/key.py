"""``hissway key``: the shop's key for signatures that another machine can check."""

from __future__ import annotations

import argparse
from pathlib import Path

SUMMARY = "show the shop's signing key by its fingerprint, or make one"
EXAMPLE = "hissway key --make"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Arguments of the command."""
    parser.add_argument("--make", action="store_true", help="make a key; one that exists is never replaced")
    parser.add_argument("--file", metavar="FILE.pem", type=Path, help="key file (default: HISSWAY_KEY or user data)")


def run(args: argparse.Namespace) -> int:
    """Print the file and the fingerprint to give to whoever checks signatures."""
    from listen.errors import JobError
    from listen.jobs.exchange.sign import fingerprint, key_path, load_key, make_key

    path = args.file or key_path()
    if not args.make and not path.exists():
        raise JobError(f"{path}: no shop key yet; hissway key --make makes one, rounds can be signed without")
    key = make_key(path) if args.make else load_key(path)
    print(path)
    print(fingerprint(key.public_key().public_bytes_raw().hex()))
    return 0
