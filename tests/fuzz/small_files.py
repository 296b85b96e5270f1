"""The fuzzer's doors for small files of a shop or a person: keys, known keys, rows, preferences, learners, photos."""

from __future__ import annotations

import io
import os
from pathlib import Path

from tests.fuzz.text import json_like

LEARNER = {"id": "ann-1a2b", "name": "Ann", "created": "2026-01-05T09:00:00+00:00"}
PREFERENCES = {"before_s": 2.0, "clip_s": 5.0, "move_s": 8.0, "tones": True, "input_name": "vmic", "daylight": False}
ROWS = b"""[[evidence]]
id = "one-low"
words = "one low"
weights = {burnt-valve = 6.0}

[[check]]
id = "wet-test"
words = "again with oil"
"""
KNOWN = b"".join(b"%064x 2026-01-05T09:00:00.000Z Invented shop %d\n" % (n + 2**200, n) for n in range(3))

learner = json_like(LEARNER)
preferences = json_like(PREFERENCES)


def read_learner(data: bytes, room: Path) -> None:
    from listen.errors import LabError
    from listen.lab.learners import find_learner, list_learners

    folder = room / "learners" / "ann-1a2b"
    folder.mkdir(parents=True)
    (folder / "learner.json").write_bytes(data)
    list_learners(room)
    try:
        find_learner(room, "Ann")
    except LabError:
        pass  # not called so any more


def read_preferences(data: bytes, room: Path) -> None:
    from tui.bridge.preferences import load, save

    (room / "screens.json").write_bytes(data)
    save(room / "screens.json", load(room / "screens.json"))


def read_rows(data: bytes, room: Path) -> None:
    """A diagnosis with a shop's own rows, whatever they say."""
    from listen.trade import tables
    from listen.trade.checks import checks, evidence_rows

    (room / "shop-rows.toml").write_bytes(data)
    os.environ["HISSWAY_ROWS"] = str(room / "shop-rows.toml")
    for cached in (tables._shop, checks, evidence_rows):
        getattr(cached, "cache_clear", lambda: None)()
    tables._misfits.clear()
    try:
        tables.shop_trouble()
        checks()
        evidence_rows()
        tables.shop_rows()
    finally:
        del os.environ["HISSWAY_ROWS"]


def read_known_keys(data: bytes, room: Path) -> None:
    from listen.jobs.exchange.keys import allow, known_keys

    os.environ["HISSWAY_KEY"] = str(room / "shop-key.pem")
    (room / "known-keys.txt").write_bytes(data)
    try:
        known_keys()
        allow("ab" * 32, "Another shop")
    finally:
        del os.environ["HISSWAY_KEY"]


def key_seeds(room: Path) -> list[bytes]:
    from listen.jobs.exchange.keys import make_key

    make_key(room / "key.pem")
    data = (room / "key.pem").read_bytes()
    (room / "key.pem").unlink()
    return [data]


def read_key(data: bytes, room: Path) -> None:
    from listen.jobs.exchange.keys import load_key

    (room / "key.pem").write_bytes(data)
    load_key(room / "key.pem")


def photo_seeds(_: Path) -> list[bytes]:
    from PIL import Image

    made = []
    for form in ("JPEG", "PNG", "WEBP", "GIF"):
        out = io.BytesIO()
        Image.effect_noise((64, 48), 60).convert("RGB").save(out, form)
        made.append(out.getvalue())
    return made


def read_photo(data: bytes, room: Path) -> None:
    from listen.jobs.photo import decoded, photo_event

    (room / "plug.jpg").write_bytes(data)
    decoded(photo_event(room / "plug.jpg").picture)
