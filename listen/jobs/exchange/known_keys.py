"""The keys a machine knows by name: its own and those it was given, a line each in a file beside its own key."""

import re
from pathlib import Path

import msgspec

from listen.errors import JobError
from listen.jobs.exchange.keys import fingerprint, is_small_order, key_path, load_key
from listen.jobs.folder.disk import job_errors, replace
from listen.jobs.folder.journal import utc_now

LIST = "known-keys.txt"
OWN = "this machine's own key"
_LINE = re.compile(r"(?P<key>[0-9a-f]{64}) (?P<since>\S{1,40}) (?P<name>\S.{0,119})")
_MAX_BYTES = 1_000_000


class KnownKey(msgspec.Struct, frozen=True, kw_only=True):
    """One key and whose it is."""

    public_key: str
    """Hex."""
    name: str
    """The shop's or the person's."""
    since: str = ""
    """When it was put on the list, UTC, ISO 8601; empty for a key of this machine that is not on it."""


def list_path() -> Path:
    """Where the list lies: beside the shop key."""
    return key_path().with_name(LIST)


def known_keys() -> tuple[KnownKey, ...]:
    """The list, and this machine's own key whether it is on the list or not.

    Raises JobError: the list cannot be read, or a line of it is none; the own key cannot be read."""
    known = _listed()
    if key_path().exists():
        own = load_key(key_path()).public_key().public_bytes_raw().hex()
        if all(k.public_key != own for k in known):
            known = (*known, KnownKey(public_key=own, name=OWN))
    return known


def allow(key: str, name: str) -> KnownKey:
    """Put a key on the list, from today on, under a name; in the place of what the list said of it.

    Raises JobError: no key or no name, a key that holds nothing, or the list cannot be written."""
    found = KnownKey(public_key=as_key(key), name=" ".join(name.split()), since=utc_now())
    if _LINE.fullmatch(_row(found)) is None or not found.name.isprintable():
        raise JobError(f"{name!a}: give the name of the shop or person whose key it is, up to 120 characters")
    _write([*(k for k in _listed() if k.public_key != found.public_key), found])
    return found


def forget(key: str) -> None:
    """Take a key off the list. Raises JobError: it is not on the list, or the list cannot be written."""
    wanted, known = as_key(key), _listed()
    if all(k.public_key != wanted for k in known):
        raise JobError(f"{fingerprint(wanted)}: this key is not on the list; hissway key --list shows it")
    _write([k for k in known if k.public_key != wanted])


def as_key(text: str) -> str:
    """A fingerprint as it was read out or copied, as hex.

    Raises JobError: not 64 hex digits, or one of the few keys that hold nothing."""
    key = "".join(text.split()).lower()
    if re.fullmatch("[0-9a-f]{64}", key) is None:
        raise JobError(f"{text[:100]!a}: a fingerprint is 64 hex digits, blanks between them or not; give it whole")
    if is_small_order(bytes.fromhex(key)):
        raise JobError(f"{fingerprint(key)}: under this key anyone can sign; it is refused")
    return key


def _listed() -> tuple[KnownKey, ...]:
    path = list_path()
    try:
        with job_errors("read the list of keys", path):
            data = path.read_bytes() if path.exists() else b""
        text = data.decode() if len(data) <= _MAX_BYTES else ""
    except UnicodeDecodeError:
        text = "?"
    found = [_LINE.fullmatch(line) for line in text.splitlines() if line.strip()]
    if None in found or (data and not text):
        n = found.index(None) + 1 if None in found else 1
        raise JobError(f"{path}: line {n} is not a key, a time and a name; mend or remove it")
    return tuple(KnownKey(public_key=m["key"], since=m["since"], name=m["name"]) for m in found if m)


def _row(key: KnownKey) -> str:
    return f"{key.public_key} {key.since} {key.name}"


def _write(keys: list[KnownKey]) -> None:
    path = list_path()
    with job_errors("write the list of keys", path):
        path.parent.mkdir(parents=True, exist_ok=True)
        replace(path, "".join(f"{_row(k)}\n" for k in keys).encode())
