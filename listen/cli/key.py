"""``hissway key``: the shop's key for signatures that another machine can check, and the keys known by name."""

import argparse
import sys

from listen.errors import JobError, UsageError
from listen.jobs.exchange import keys
from listen.jobs.exchange.keys import fingerprint
from listen.voice.text import plain


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
