"""What stands below the odds: the call by ear, the sound cylinder beside it, changes after signing, cautions."""

from textual.content import Content

from listen.jobs.job import Job, RoundRecord
from listen.jobs.reference import reference_cylinders, told_since, why_no_reference
from listen.trade.cautions import cautions_for, defer_to_others
from listen.voice.text import plain
from tui.content import shown
from tui.screens.calls import tech_call


def remarks(job: Job, record: RoundRecord) -> Content:
    """All of it, a line each."""
    cautions = [f"▲ {c.words}" for c in (*cautions_for("after")[:1], *cautions_for("stop-driving"))]
    changed = [f"! {plain(text)}" for text in record.changed_after_signing]
    lines = [
        shown(tech_call(record)),
        shown(_reference(job, record)),
        *(shown(plain(sentence, 400)) for sentence in (record.verdict.result.learnt if record.verdict else ())),
        *([shown(_since(told))] if (told := told_since(job, record.id)) else []),
        *(shown(c, "$warning") for c in (*changed, *cautions)),
        shown(defer_to_others(), "$secondary"),
    ]
    return Content("\n").join(lines)


def _since(told: tuple[int, ...]) -> str:
    which = f"Cylinder {told[0]} was" if len(told) == 1 else f"Cylinders {' and '.join(map(str, told))} were"
    return f"{which} judged since: j judges this round again with what they tell of the engine."


def _reference(job: Job, record: RoundRecord) -> str:
    if why := why_no_reference(record):
        return f"Sound cylinder left out on purpose: {plain(why, 200)} (s lets it count again)."
    if others := reference_cylinders(job, record.id):
        return f"Sound cylinder beside it: {' and '.join(map(str, others))} (s leaves it out)."
    return "No sound cylinder stood beside this round."
