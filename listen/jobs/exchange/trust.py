"""What a signature is worth on this machine: compared with the keys known here and those asked for."""

import msgspec

from listen.jobs.exchange.keys import fingerprint
from listen.jobs.exchange.known_keys import KnownKey
from listen.jobs.exchange.sign import SignatureCheck
from listen.jobs.hearing import same_person
from listen.voice.times import day


class Trust(msgspec.Struct, frozen=True, kw_only=True):
    """What signatures are compared with."""

    keys: tuple[KnownKey, ...] = ()
    """Known here by name."""
    demanded: tuple[str, ...] = ()
    """Public keys, hex, by one of which every signature must be made; empty where none is asked for."""

    def whose(self, public_key: str) -> str:
        """Name under which a key is known; empty where it is not."""
        return next((k.name for k in self.keys if k.public_key == public_key), "")


def fault(check: SignatureCheck, shop: str, trust: Trust) -> str:
    """Why a signature does not count as what it says it is; empty where nothing is known against it."""
    if check.state == "bad":
        return check.text
    if trust.demanded and check.public_key not in trust.demanded:
        made = f"made with key {fingerprint(check.public_key)}" if check.public_key else "a typed name without a key"
        return f"is {made}, not with the key that was asked for"
    if check.public_key:
        if trust.keys and not trust.demanded and not trust.whose(check.public_key):
            return (
                f"made with key {fingerprint(check.public_key)}, which is not among the keys known here; if it is the "
                "one they gave you, hissway key --allow puts it on the list"
            )
        return ""
    for key in trust.keys:
        mine = same_person(key.name, check.name) or same_person(key.name, shop)
        if mine and key.since and key.since <= check.time:
            return f"a typed name without a key, but {key.name} has signed with one since {day(key.since)}"
    return ""


def remark(check: SignatureCheck, trust: Trust) -> str:
    """What there is to say of a signature nothing is known against."""
    if not check.public_key:
        return check.text
    whose = trust.whose(check.public_key)
    return (
        f"{check.text}, known here as that of {whose}"
        if whose
        else f"{check.text}; compare it with the one the shop gave you"
    )
