"""Protects the start of the program and the completeness of the tables."""

from __future__ import annotations

import subprocess
import sys

from listen.jobs import events as ev
from listen.jobs.fold import RULES

HEAVY = ("numpy", "scipy", "librosa", "soundfile", "sounddevice", "bagit", "cryptography")

KINDS = """
    job-opened engine-described job-named way-chosen details-given person-chosen reading-entered plug-seen
    symptom-noted symptoms-asked check-made answer-withdrawn note-added photo-kept photo-taken-back
    microphone-checked round-opened caution-acknowledged step-passed clip-kept clip-taken-back point-skipped
    round-imported by-ear-called bubbles-looked air-followed top-found-again judged confirmed overruled sent-back signed
    sat-down numbers-shown pair-played finding-recorded diagnosis-stored part-found journal-mended merged
    salvaged withdrawn round-set-aside
"""
"""Every kind there has ever been."""


def test_every_kind_has_a_rule_and_a_name_of_its_own() -> None:
    """No event is forgotten by the fold, and no two kinds share a struct."""
    assert set(RULES) == {*ev.KINDS.values(), ev.Opaque}
    assert len(set(ev.KINDS.values())) == len(ev.KINDS)
    assert list(ev.KINDS) == KINDS.split(), "names in journals on disk never change; add new ones"


def test_the_room_imports_nothing_heavy() -> None:
    """Listing and opening jobs, packing and verifying load no array or sound library before they need one."""
    program = (
        "import sys\n"
        "import listen.jobs.folder.store, listen.jobs.walk, listen.jobs.exchange.pack\n"
        "import listen.jobs.exchange.unpack, listen.jobs.exchange.verify\n"
        f"print([m for m in {HEAVY} if m in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
