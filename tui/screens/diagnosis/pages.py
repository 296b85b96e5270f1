"""A diagnosis as one page of words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.content import Content

from listen.trade.cautions import cautions_for
from tui.words import number, percent, plain, shown

if TYPE_CHECKING:
    from listen.diagnosis.model import Diagnosis, Fault
    from listen.diagnosis.weigh import Line
    from listen.jobs.job import Job

MOST_LINES = 6


def page(diagnosis: Diagnosis) -> Content:
    """Everything that may be said, headings first."""
    parts = [shown(diagnosis.text, "bold"), shown("")]
    if diagnosis.stop_for:
        parts = [*(shown(f"▲ {c.words}", "bold $warning") for c in cautions_for("stop-driving")), shown(""), *parts]
    for fault in diagnosis.faults:
        parts += _fault(fault)
    if diagnosis.contradictions:
        parts.append(shown("What contradicts itself", "$accent"))
        for doubt in diagnosis.contradictions:
            parts.append(shown(f"  ≠ {doubt.words} {doubt.then}", "$warning"))
        parts.append(shown(""))
    untested = [t for t in diagnosis.tests if not t.made]
    if untested:
        parts.append(shown("Not tested, so it cannot be ruled out", "$accent"))
        parts += [shown(f"  – {t.words}: {t.note}" if t.note else f"  – {t.words}") for t in untested]
        parts.append(shown(""))
    parts.append(shown(diagnosis.disclaimer, "$secondary"))
    return Content("\n").join(parts)


def symptom_words(job: Job) -> str:
    """Symptoms of the whole engine in words; asked and not asked are told apart."""
    told = ", ".join(_symptom(s) for s in job.symptoms)
    return f"Symptoms: {told}." if told else "Symptoms asked: none." if job.symptoms_asked else "Symptoms not asked."


def _symptom(id: str) -> str:
    from listen.trade.facts import symptoms

    return next((s.words for s in symptoms() if s.id == id), plain(id, 40))


def _fault(fault: Fault) -> list[Content]:
    head = f"▲ {plain(fault.words)} · {plain(fault.place)} · {percent(fault.probability)}, {plain(fault.sure)}"
    parts = [shown(head, "bold $accent"), shown(f"  {fault.text}")]
    parts += [_weight(line, "+") for line in fault.supports[:MOST_LINES]]
    parts += [_weight(line, "−") for line in fault.against[:MOST_LINES]]
    if fault.rivals:
        rivals = ", ".join(f"{c.words} {percent(c.probability)}" for c in fault.rivals)
        parts.append(shown(f"  It could also be: {rivals}", "$warning"))
    check = fault.next_check
    if check.risk:
        parts.append(shown(f"  ▲ {check.risk}", "$warning"))
    parts.append(
        Content.assemble(
            ("  Next cheapest check: ", "bold"),
            plain(check.do, 400),
            f" {plain(check.means, 400)}. About {check.minutes} min, {plain(check.tools, 80)}.",
        )
    )
    parts.append(shown(""))
    return parts


def _weight(line: Line, glyph: str) -> Content:
    return Content.assemble(
        (f"  {glyph} {number(abs(line.db)):>5} ", "$success" if glyph == "+" else "$warning"),
        plain(f"{line.words}: {line.detail}" if line.detail else line.words, 300),
    )
