"""``hissway key``: the shop's key for signatures that another machine can check, and the keys known by name."""

import argparse
from pathlib import Path

from listen.voice.text import plain

SUMMARY = "show the shop's signing key by its fingerprint, or make one; keep the list of keys known by name"
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
    import sys

    from listen.errors import JobError
    from listen.jobs.exchange.keys import fingerprint, key_path, load_key, make_key, open_to_others

    if args.allow or args.forget or args.list:
        return _listed(args)
    path = args.file or key_path()
    if not args.make and not path.exists():
        raise JobError(f"{path}: no shop key yet; hissway key --make makes one, rounds can be signed without")
    key = make_key(path) if args.make else load_key(path)
    print(path)
    print(fingerprint(key.public_key().public_bytes_raw().hex()))
    if warning := open_to_others(path):
        print(f"hissway: {warning}", file=sys.stderr)
    return 0


def _listed(args: argparse.Namespace) -> int:
    from listen.jobs.exchange.keys import allow, fingerprint, forget, known_keys

    if args.allow:
        allow(args.allow, args.name)
    elif args.forget:
        forget(args.forget)
    for key in known_keys():
        print(f"{fingerprint(key.public_key)}  {plain(key.name)}")
    return 0
