"""The phases of a confirmation: what each says and asks, and the signature at its end."""

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from listen.errors import HisswayError
from listen.jobs.decision import asked_step
from listen.jobs.event_words import event_words
from listen.jobs.exchange.keys import fingerprint, key_path, open_to_others
from listen.jobs.exchange.sign import statement
from listen.jobs.job import Job, RoundRecord
from listen.jobs.reference import covers
from listen.voice.text import plain
from tui.bridge.services import Services
from tui.screens.calls import tech_call
from tui.widgets.banner import Say
from tui.widgets.panels import Choice

WITH = "The shop key signs beside the name, so that another machine can check it."
WITHOUT = "No key is used: the typed name stands alone."
NONE = "There is no shop key on this machine: the typed name stands alone. hissway key --make makes a key."


def key_words(services: Services) -> str:
    """What is to be known of the shop's key before signing."""
    key, trouble = shop_key(services)
    if key is not None:
        return " ".join(filter(None, (WITH, open_to_others(key_path()))))
    return f"{trouble}. {WITHOUT}" if trouble else NONE


def shop_key(services: Services) -> tuple[Ed25519PrivateKey | None, str]:
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
    return f"Signed with the shop key {fingerprint(record.signatures[-1].public_key)}"


CHOICES = {
    "tech": (Choice("n", "numbers", "show the numbers"),),
    "decide": (
        Choice("a", "agree", "agree", "the verdict stands as it is"),
        Choice("o", "overrule", "overrule", "another path or several, with a reason"),
        Choice("b", "back", "send back", "ask for one named recording"),
        Choice("l", "later", "decide later", "nothing is written"),
    ),
    "decided": (
        Choice("s", "sign", "sign and close the round", "read what you sign, then type your name"),
        Choice("l", "later", "sign later", "the decision stands, the round stays open"),
    ),
}
"""What is asked in a phase."""
KINDS = (
    ("1", "an air clip", "air on"),
    ("2", "a quiet clip", "air off"),
    ("3", "a shut clip", "supply on, cylinder side shut off"),
    ("4", "a switched take", "air off and on at a microphone that stays"),
)
KIND_OF = {"1": "air", "2": "quiet", "3": "shut", "4": "switched"}
"""What may be asked for, by its key."""
BEFORE_NUMBERS = ("name", "hear", "call", "tech")
"""Phases in which no number is on the screen."""
WHO = "Type your name: it stands under whatever you decide. Enter goes on, Esc goes back."
BLIND = "Nothing the tech called or the program measured has been shown to you."
SEEN = "You have seen numbers of this round: it will stand as heard with the numbers seen."
STALE = "Clips or readings changed since this was judged: it is judged again when the round is next opened."


def phase_say(phase: str, record: RoundRecord, name: str, key: str = "", *, seen: bool = False) -> Say:
    """The banner of a phase; ``key``: what there is to say of the shop key before signing.

    ``seen``: numbers of this round were shown to this person before.
    """
    who = f"cylinder {record.cylinder} · supervisor {plain(name, 60) or '(name not typed yet)'}"
    verdict = record.verdict.result.verdict.text if record.verdict else "This round has not been judged."
    texts = {
        "name": ("Who confirms?", ""),
        "hear": (
            "Listen: Space plays a pair, quiet and air in random order. Press c when you are ready to call.",
            SEEN if seen else "Start with the volume low. One of each pair has the air on; which one is not told.",
        ),
        "call": ("What do you call by ear?", SEEN if seen else BLIND),
        "tech": (tech_call(record), "Press n for the numbers."),
        "decide": (verdict, _not_recorded(record) or (STALE if record.stale else "What do you say?")),
        "decided": (
            "Decided. Sign and close the round now?",
            f"Later changes will be told on every screen. {key}".strip(),
        ),
        "done": (_done(record), held_by(record)),
    }
    step, more = texts[phase]
    changed = "; ".join(record.changed_after_signing)
    if changed and phase in BEFORE_NUMBERS:
        changed = "Something changed since this round was signed; what, is told with the numbers."
    return Say(who, step, more, f"! {changed}" if changed else "", "caution" if phase == "name" else "plain")


def _not_recorded(record: RoundRecord) -> str:
    """Why what was asked for did not come; empty where it did, or nothing was asked for."""
    why = record.steps_left_out.get(asked_step(record.decision), "") if record.decision else ""
    return f"What was asked for was left out: {plain(why, 200)}. What do you say?" if why else ""


def _done(record: RoundRecord) -> str:
    if record.signed:
        last = record.signatures[-1]
        return f"Signed by {plain(last.name, 60)}: the round is closed."
    return event_words(record.decision.payload, Job()) if record.decision else "Not decided yet."


def sign_words(job: Job, record: RoundRecord, name: str, key: str) -> tuple[str, str]:
    """What is signed, and what that does."""
    states = f"\N{LEFT DOUBLE QUOTATION MARK}{statement(record, name)}\N{RIGHT DOUBLE QUOTATION MARK}"
    does = "Type your name as under a report: Enter signs and closes the round, Esc goes back."
    return f"You sign: {states}", f"{does} {covers(job, record)} {key}"
