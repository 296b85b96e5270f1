"""The signatures under a round: who, when, and what holds each of them."""

from listen.jobs.events import Event, Signed
from listen.jobs.exchange.keys import fingerprint
from listen.jobs.exchange.sign import SignatureCheck, check_signatures
from listen.jobs.folder.chain import Chain
from listen.report.content import SignaturePart
from listen.voice import times


def signature_parts(chain: Chain) -> dict[str, tuple[SignaturePart, ...]]:
    """The checked signatures of a journal, those of merged branches included, by round."""
    checks = {c.event: c for c in sorted(check_signatures(chain), key=lambda c: c.state == "bad")}
    found: dict[str, tuple[SignaturePart, ...]] = {}
    for event in chain.events():
        p = event.payload
        if isinstance(p, Signed):
            found[p.round_id] = (*found.get(p.round_id, ()), _part(event, p, checks[event.id]))
    return found


def _part(event: Event, p: Signed, check: SignatureCheck) -> SignaturePart:
    return SignaturePart(
        name=p.name,
        role=p.role,
        signed=times.moment_and_zone(event.time),
        state=check.state,
        fingerprint=fingerprint(p.public_key),
        held_by=_held_by(check, fingerprint(p.public_key)),
        statement=p.statement,
        head=p.head,
    )


def _held_by(check: SignatureCheck, key: str) -> str:
    how = f"signed with shop key {key}" if key else "name typed, no key"
    match check.state:
        case "good":
            return f"{how}, signature good"
        case "bad":
            return f"{how}, signature DOES NOT MATCH: {check.text}"
        case _:
            return how


def in_words(s: SignaturePart) -> str:
    """A signature as one line."""
    statement = f"\N{LEFT DOUBLE QUOTATION MARK}{s.statement}\N{RIGHT DOUBLE QUOTATION MARK}"
    return f"{s.name} ({s.role}), {s.signed}: {s.held_by}. {statement} Closes the journal up to {s.head}"
