"""Signing a round: what is signed, read before it is signed, and the shop's key beside the name where there is one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from listen.errors import HisswayError
from tui.widgets.panels import Choice

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    from listen.jobs.folder.open_job import OpenJob
    from listen.jobs.job import Job, RoundRecord
    from tui.bridge.services import Services

WITH = "The shop key signs beside the name, so that another machine can check it."
WITHOUT = "No key is used: the typed name stands alone."
NONE = "There is no shop key on this machine: the typed name stands alone. hissway key --make makes a key."
CHOICES = (
    Choice("s", "sign", "sign and close the round", "read what you sign, then type your name"),
    Choice("l", "later", "sign later", "the decision stands, the round stays open"),
)


def key_words(services: Services) -> str:
    """What is to be known of the shop's key before signing."""
    from listen.jobs.exchange.keys import key_path, open_to_others

    key, trouble = _key(services)
    if key is not None:
        return " ".join(filter(None, (WITH, open_to_others(key_path()))))
    return f"{trouble}. {WITHOUT}" if trouble else NONE


def sign(services: Services, opened: OpenJob, round_id: str, name: str) -> Job:
    """Sign, beside the name with the shop's key where there is one; raises what signing raises."""
    from listen.jobs.exchange.sign import sign_round

    return sign_round(opened, round_id, name=name, key=_key(services)[0])


def _key(services: Services) -> tuple[Ed25519PrivateKey | None, str]:
    """The key, or why the one that is there cannot be used."""
    try:
        return services.shop_key(), ""
    except HisswayError as e:
        return None, str(e)


def held_by(record: RoundRecord) -> str:
    """What holds a round's signature."""
    if not record.signed:
        return ""
    if not record.signatures[-1].public_key:
        return "No key was used: the journal alone holds the name."
    from listen.jobs.exchange.keys import fingerprint

    return f"Signed with the shop key {fingerprint(record.signatures[-1].public_key)}"
