"""The sentence under which a round is signed: only what the journal shows that its signer decided, saw and heard."""

from listen.jobs.decision import Decision
from listen.jobs.events import Confirmed, Overruled
from listen.jobs.hearing import same_person
from listen.jobs.job import RoundRecord
from listen.voice.names import paths


def statement(record: RoundRecord, name: str) -> str:
    """What a signature under the round says now, for whoever signs by this name."""
    decision = record.decision
    if decision is None:
        return "I have made no decision on this round; I stand by what is recorded here."
    mine = same_person(decision.payload.name, name)
    return ("" if mine else f"I sign the decision of {decision.payload.name}: ") + statement_on(decision)


def statement_on(decision: Decision) -> str:
    """What was decided, how it was heard, and who recorded it."""
    own = ("I recorded this round myself.",) if decision.own_work else ()
    return " ".join((_decided(decision), heard_words(decision), *own, "I stand by what is recorded here."))


def _decided(decision: Decision) -> str:
    decided = decision.payload
    if isinstance(decided, Confirmed):
        return "I agree with the program's verdict."
    if isinstance(decided, Overruled):
        return f"I overrule the program's verdict: {paths(decided.paths)}."
    return "I have sent this round back."


def heard_words(decision: Decision) -> str:
    """How the round was heard before the decision, as one sentence in the first person."""
    heard = decision.heard
    if not heard.recorded:
        return "How the clips were heard was not recorded."
    if not heard.pairs:
        return "I have seen the numbers and heard no clips."
    points = f"{len(heard.pairs)} point{'s' if len(heard.pairs) > 1 else ''}"
    times = sum(n for _, n in heard.pairs)
    played = f"air off and air on at {points}, {times} time{'s' if times > 1 else ''} in all"
    if heard.blind:
        return f"I have heard {played}, and called by ear before any number was shown to me."
    return f"With the numbers seen, I have heard {played}."
