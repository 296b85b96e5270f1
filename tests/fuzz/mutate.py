"""Valid input made hostile: bytes, JSON values, linked journals and zips, each change drawn from one seeded source."""

from __future__ import annotations

import copy
import hashlib
import io
import json
import random
import zipfile
from typing import Any

GENESIS = hashlib.sha256(b"hissway.journal/1").hexdigest()
NUMBERS_32 = (0, 1, 2, 0x7F, 0x80, 0xFF, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFF, 0x00FFFFFF, 44)
SCRIPT = "<script>alert(1)</script>"
VALUES: tuple[Any, ...] = (
    None, True, False, 0, -1, 1e308, -1e308, 5e-324, 2**63, -(2**63), 2**200, 99, 1.5, "", "x" * 5000, "NaN", "\u0000",
    "../../../etc/passwd", "/absolute", "C:\\nul", "\ud7ff", "🫧" * 50, "2026-13-45T99:99:99Z", [], {}, [[]],
    SCRIPT, f'"\'>{SCRIPT}', [None] * 50, {"": {}}, [1, "2", None], "intake", "air", "c1-000000", "0" * 64,
)  # fmt: skip
TOKENS = (
    b"NaN", b"Infinity", b"-Infinity", b"1e999", b"-0", b"[" * 3000, b'{"a":' * 2000, b'"\\ud800"', b"\xff\xfe",
    b"\x00", b"\xef\xbb\xbf", b"null", b"9" * 400, b"\\u0000", b",,", b"}{", b"\n\n", b"\r",
)  # fmt: skip
NAMES = (
    "../outside.txt", "/hissway-outside", "bag/../../outside", "bag\\..\\..\\outside", "C:/outside", "bag/data/./x",
    "bag/data/clips/../../../../outside", "bag/data/clips/NUL", "bag/data/clips/a.flac/", "\u202ebag/bagit.txt",
    "bag/data/journal.jsonl ", "BAG/data/journal.jsonl", "bag//data", "", ".", "..", "bag/" + "d/" * 300 + "f",
)  # fmt: skip


def mutate_bytes(rng: random.Random, seeds: list[bytes], tokens: tuple[bytes, ...] = ()) -> bytes:
    """One to eight changes: bits, numbers, lengths, pieces cut, doubled, moved, or taken from another seed."""
    data = bytearray(rng.choice(seeds))
    for _ in range(rng.choice((1, 1, 2, 4, 8))):
        at = _somewhere(rng, len(data))
        how = rng.randrange(8 if tokens else 7)
        if how == 0 and data:
            data[at % len(data)] ^= 1 << rng.randrange(8)
        elif how == 1:
            size = rng.choice((2, 4))
            number = rng.choice(NUMBERS_32) & (256**size - 1)
            data[at : at + size] = number.to_bytes(size, rng.choice(("little", "big")))
        elif how == 2:
            del data[at : at + rng.choice((1, 4, 64, len(data)))]
        elif how == 3:
            data[at:at] = data[at : at + rng.choice((1, 16, 4096))] * rng.choice((1, 2, 20))
        elif how == 4:
            data[at:at] = rng.randbytes(rng.choice((1, 4, 200)))
        elif how == 5:
            other = rng.choice(seeds)
            cut = _somewhere(rng, len(other))
            data[at:] = other[cut : cut + 100_000]
        elif how == 6 and data:
            to = _somewhere(rng, len(data))
            piece = data[at : at + 32]
            data[to : to + len(piece)] = piece
        elif how == 7:
            data[at : at + rng.choice((0, 0, 1, 5))] = rng.choice(tokens)
    return bytes(data[:8_000_000])


def _somewhere(rng: random.Random, size: int) -> int:
    """An offset, half of the time within the first 200 bytes, where headers are."""
    return rng.randrange(min(size, 200) + 1) if rng.random() < 0.5 else rng.randrange(size + 1)


def mutate_json(rng: random.Random, value: Any) -> Any:
    """One to three values somewhere inside replaced, removed, renamed or put where they do not belong."""
    value = copy.deepcopy(value)
    for _ in range(rng.choice((1, 1, 2, 3))):
        holders = [h for h in _holders(value) if h]
        if not holders:
            return copy.deepcopy(rng.choice(VALUES))
        holder = rng.choice(holders)
        key = rng.choice(list(holder)) if isinstance(holder, dict) else rng.randrange(len(holder))
        how = rng.randrange(6)
        if how <= 2:
            holder[key] = copy.deepcopy(rng.choice(VALUES))
        elif how == 3:
            del holder[key]
        elif how == 4:
            holder[key] = copy.deepcopy(rng.choice(holders))
        elif isinstance(holder, dict):
            holder[rng.choice(("id", "kind", "schema", "surplus", "", str(key) + "x"))] = holder.pop(key)
        else:
            holder.extend(holder[: rng.choice((1, 30))])
    return value


def _holders(value: Any) -> list[Any]:
    found = [value] if isinstance(value, dict | list) else []
    for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
        found += _holders(inner)
    return found


def as_json(value: Any) -> bytes:
    """JSON text as another program might write it (NaN and lone surrogates included)."""
    return json.dumps(value, separators=(",", ":")).encode("utf-8", "surrogatepass")


def mutate_journal(rng: random.Random, journal: bytes) -> bytes:
    """Events changed, dropped, doubled or put elsewhere, then chained anew, so that only their meaning is wrong."""
    events = read_events(journal)
    for _ in range(rng.choice((1, 1, 2, 5))):
        at = rng.randrange(len(events))
        how = rng.randrange(8)
        if how <= 3:
            events[at]["payload"] = mutate_json(rng, events[at].get("payload", {}))
        elif how == 4:
            events[at] = mutate_json(rng, events[at])
        elif how == 5 and len(events) > 1:
            events.insert(rng.randrange(len(events)), events.pop(at))
        elif how == 6:
            events.insert(at, dict(events[rng.randrange(len(events))], id=f"{rng.randrange(16**16):016x}"))
        elif how == 7 and len(events) > 1:
            del events[at]
        events = [e for e in events if isinstance(e, dict)] or [{}]
    return relink(events)


WAS = " was"
"""Key under which an event carries the hash it had, so that what points to it can point to its new one."""


def read_events(journal: bytes) -> list[dict[str, Any]]:
    """The events of a journal, each with the hash of its line."""
    return [json.loads(line) | {WAS: hashlib.sha256(line).hexdigest()} for line in journal.splitlines()]


def relink(events: list[dict[str, Any]]) -> bytes:
    """A journal of these events whose every sum and hash holds, merged and signed ones included."""
    return b"".join(as_json(e) + b"\n" for e in _chained(events, GENESIS, {GENESIS: GENESIS}))


def _chained(events: list[dict[str, Any]], prev: str, now: dict[str, str]) -> list[dict[str, Any]]:
    """Events with ``prev`` and ``sum`` made anew; ``now`` maps old line hashes to new ones."""
    out = []
    for event in events:
        body = {k: v for k, v in event.items() if k not in ("sum", "prev", WAS)} | {"prev": prev}
        body["payload"] = _repointed(body.get("payload"), prev, now)
        body["sum"] = hashlib.sha256(as_json(body)).hexdigest()
        prev = hashlib.sha256(as_json(body)).hexdigest()
        now[str(event.get(WAS))] = prev
        out.append(body)
    return out


def _repointed(payload: Any, prev: str, now: dict[str, str]) -> Any:
    if not isinstance(payload, dict):
        return payload
    if "signature" in payload and "head" in payload:
        return payload | {"head": prev}
    lines = payload.get("lines")
    if isinstance(payload.get("fork"), str) and isinstance(lines, list) and all(isinstance(e, dict) for e in lines):
        old: str = payload["fork"]
        fork = now.get(old, old)
        return payload | {"fork": fork, "lines": _chained(lines, fork, dict(now))}
    return payload


def mutate_zip(rng: random.Random, seed: bytes) -> bytes:
    """A zip with files changed, renamed, doubled, linked, blown up, or its own tables damaged."""
    if rng.random() < 0.4:
        return mutate_bytes(rng, [seed])
    with zipfile.ZipFile(io.BytesIO(seed)) as source:
        files = [(info.filename, source.read(info)) for info in source.infolist()]
    at = rng.randrange(len(files))
    name, data = files[at]
    how = rng.randrange(6)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", rng.choice((zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED))) as target:
        if how == 0:
            files[at] = (name, mutate_bytes(rng, [data or b"\0"], TOKENS))
        elif how == 1:
            files[at] = (rng.choice(NAMES), data)
        elif how == 2:
            files.append((rng.choice((*NAMES, name)), data))
        elif how == 3:
            del files[at]
        elif how == 4:
            files.append((name + ".more", b"\0" * rng.choice((1, 5_000_000))))
        for n, (path, content) in enumerate(files):
            info = zipfile.ZipInfo(path or "x")
            info.compress_type = target.compression
            if how == 5 and n == at:
                info.external_attr = rng.choice((0o120777, 0o020666, 0o010644, 0o040755)) << 16
                content = rng.choice((b"/etc/passwd", b"../../../outside", content))
            target.writestr(info, content)
    return out.getvalue()
