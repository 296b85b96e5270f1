"""What is fed with hostile input: every door of the program through which a stranger's bytes come in."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from tests.fuzz import small_files, spoken
from tests.fuzz.jobs import (
    bag_seeds,
    journal_seeds,
    read_bag,
    read_journal,
    read_report,
    read_summary,
    summary,
    summary_seeds,
)
from tests.fuzz.mutate import TOKENS, as_json, mutate_bytes, mutate_journal, mutate_zip
from tests.fuzz.sound import part_seeds, phone_seeds, read_part, read_sound, sound_seeds
from tests.fuzz.text import (
    DRILL,
    FACTS,
    NAMES,
    SESSION,
    json_like,
    read_drill,
    read_facts,
    read_names,
    read_session,
)


class Target(NamedTuple):
    """One door: how input for it is made and who reads it."""

    make: Callable[[random.Random, list[bytes]], bytes]
    seeds: Callable[[Path], list[bytes]]
    feed: Callable[[bytes, Path], None]
    seconds: float = 2.0
    """Most processor time a case may take."""
    share: float = 1.0
    """Of the cases an ordinary door gets: where a case takes a hundred times as long, a tenth must do."""


def _journal_linked(rng: random.Random, seeds: list[bytes]) -> bytes:
    return mutate_journal(rng, seeds[0])


def _zip(rng: random.Random, seeds: list[bytes]) -> bytes:
    return mutate_zip(rng, seeds[0])


def _text(rng: random.Random, seeds: list[bytes]) -> bytes:
    return mutate_bytes(rng, seeds, TOKENS)


def _any(rng: random.Random, seeds: list[bytes]) -> bytes:
    return mutate_bytes(rng, seeds)


TARGETS: dict[str, Target] = {
    "wav": Target(_any, sound_seeds("WAV", ("PCM_16", "PCM_24", "FLOAT", "DOUBLE", "PCM_32")), read_sound(".wav")),
    "wavex": Target(_any, sound_seeds("WAVEX", ("PCM_16", "PCM_24", "FLOAT")), read_sound(".wav")),
    "flac": Target(_any, sound_seeds("FLAC", ("PCM_16", "PCM_24", "PCM_16")), read_sound(".flac")),
    "part": Target(_any, part_seeds, read_part),
    "round.json": Target(json_like(FACTS), lambda _: [as_json(FACTS)], read_facts),
    "names": Target(_any, lambda _: [NAMES], read_names),
    "drill": Target(json_like(DRILL), lambda _: [as_json(DRILL)], read_drill),
    "session": Target(_text, lambda _: [SESSION], read_session),
    "journal": Target(_text, journal_seeds, read_journal),
    "events": Target(_journal_linked, journal_seeds, read_journal),
    "job.json": Target(summary, summary_seeds, read_summary),
    "bag": Target(_zip, bag_seeds, read_bag),
    "report": Target(_journal_linked, journal_seeds, read_report),
    "mp3": Target(_any, sound_seeds("MP3", ("MPEG_LAYER_III",)), read_sound(".mp3")),
    "ogg": Target(_any, sound_seeds("OGG", ("VORBIS", "OPUS")), read_sound(".ogg")),
    "m4a": Target(_any, phone_seeds, read_sound(".m4a")),
    "phone": Target(_any, lambda _: [spoken.PHONE_NAMES], spoken.read_phone_folder),
    "names-shown": Target(_any, lambda _: [spoken.PHONE_NAMES], spoken.show_names, seconds=8.0, share=0.3),
    "salvage": Target(_text, journal_seeds, spoken.read_salvaged),
    "register": Target(json_like(spoken.REGISTER), spoken.register_seeds, spoken.read_register),
    "photo": Target(_any, small_files.photo_seeds, small_files.read_photo),
    "key": Target(_any, small_files.key_seeds, small_files.read_key),
    "known-keys": Target(_text, lambda _: [small_files.KNOWN], small_files.read_known_keys),
    "shop-rows": Target(_text, lambda _: [small_files.ROWS], small_files.read_rows),
    "learner": Target(small_files.learner, lambda _: [as_json(small_files.LEARNER)], small_files.read_learner),
    "preferences": Target(
        small_files.preferences, lambda _: [as_json(small_files.PREFERENCES)], small_files.read_preferences
    ),
    "commands": Target(spoken.spoken_journal, journal_seeds, spoken.say_everything, seconds=8.0, share=0.3),
    "screens": Target(spoken.spoken_journal, journal_seeds, spoken.show_everything, seconds=8.0, share=0.3),
}
"""Doors by name."""
