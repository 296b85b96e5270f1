"""``hissway key``: the shop's key for signatures that another machine can check, and the keys known by name."""

import argparse
import sys
from pathlib import Path

from listen.errors import JobError, UsageError
from listen.jobs.exchange import keys
from listen.jobs.exchange.keys import fingerprint
from listen.voice.text import plain

EXAMPLE = "hissway key --make"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--make", action="store_true", help="make a key; one that exists is never replaced")
    parser.add_argument("--file", metavar="FILE.pem", type=Path, help="key file (default: HISSWAY_KEY or user data)")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--allow", metavar="FINGERPRINT", help="put a key on the list of keys known here, under --name")
    what.add_argument("--forget", metavar="FINGERPRINT", help="take a key off the list")
    what.add_argument("--list", action="store_true", help="show the keys known here")
    parser.add_argument("--name", metavar="NAME", default="", help="shop or person whose key it is (with --allow)")


def run(args: argparse.Namespace) -> int:
    """Print the file and the fingerprint to give to whoever checks signatures; or change and show the list."""
    if args.name and not args.allow:
        raise UsageError("--name says whose key --allow puts on the list; give both")
    if args.allow or args.forget or args.list:
        if args.allow:
            keys.allow(args.allow, args.name)
        elif args.forget:
            keys.forget(args.forget)
        listed = keys.known_keys()
        for known in listed:
            print(f"{fingerprint(known.public_key)}  {plain(known.name)}")
        if not listed:
            print("no key is known here; hissway key --allow puts one on the list", file=sys.stderr)
        return 0
    path = args.file or keys.key_path()
    if not args.make and not path.exists():
        raise JobError(f"{path}: no shop key yet; hissway key --make makes one, rounds can be signed without")
    key = keys.make_key(path) if args.make else keys.load_key(path)
    print(path)
    print(fingerprint(key.public_key().public_bytes_raw().hex()))
    if warning := keys.open_to_others(path):
        print(f"hissway: {warning}", file=sys.stderr)
    return 0
