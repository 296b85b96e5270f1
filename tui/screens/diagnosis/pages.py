"""A diagnosis as one page of words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from textual.content import Content

from listen.diagnosis.tested import MADE
from listen.trade.causes import sources
from listen.trade.cautions import cautions_for
from tui.words import number, percent, plain, shown

if TYPE_CHECKING:
    from listen.diagnosis.model import Diagnosis, Fault
    from listen.diagnosis.weigh import Line
    from listen.jobs.job import Job

MOST_LINES = 6


def page(diagnosis: Diagnosis, made: tuple[str, ...] = (), *, why: bool = False) -> Content:
    """Everything that may be said, headings first; with reasons and sources if asked."""
    parts = [shown(diagnosis.text, "bold"), shown("")]
    if diagnosis.stop_for:
        found = f" Found: {'; '.join(diagnosis.stop_why)}." if diagnosis.stop_why else ""
        warned = (shown(f"▲ {c.words}{found}", "bold $warning") for c in cautions_for("stop-driving"))
        parts = [*warned, shown(""), *parts]
    for fault in diagnosis.faults:
        parts += _fault(fault, why)
    if made:
        parts += [shown("Checks made", "$accent"), *(shown(f"  ✓ {words}") for words in made), shown("")]
    if diagnosis.contradictions:
        parts.append(shown("What contradicts itself", "$accent"))
        for doubt in diagnosis.contradictions:
            parts.append(shown(f"  ≠ {doubt.words} {doubt.then}", "$warning"))
        parts.append(shown(""))
    untested = [t for t in diagnosis.tests if t.note != MADE]
    if untested:
        parts.append(shown("Not tested, so it cannot be ruled out", "$accent"))
        parts += [shown(f"  – {t.words}: {t.note}" if t.note else f"  – {t.words}") for t in untested]
        parts.append(shown(""))
    if diagnosis.shop_trouble:
        parts.append(shown(f"! {diagnosis.shop_trouble}", "$warning"))
    if diagnosis.shop_rows:
        parts.append(shown(f"This shop's own rows count: {', '.join(diagnosis.shop_rows)}.", "$warning"))
    parts.append(shown(diagnosis.disclaimer, "$secondary"))
    return Content("\n").join(parts)


def symptom_words(job: Job) -> str:
    """Symptoms of the whole engine in words; asked and not asked are told apart."""
    told = ", ".join(_symptom(s) for s in job.symptoms)
    return f"Symptoms: {told}." if told else "Symptoms asked: none." if job.symptoms_asked else "Symptoms not asked."


def _symptom(id: str) -> str:
    from listen.trade.facts import symptoms

    return next((s.words for s in symptoms() if s.id == id), plain(id, 40))


def _fault(fault: Fault, why: bool) -> list[Content]:
    head = f"▲ {plain(fault.words)} · {plain(fault.place)} · {percent(fault.probability)}, {plain(fault.sure)}"
    parts = [shown(head, "bold $accent"), shown(f"  {fault.text}")]
    parts += [part for line in fault.supports[:MOST_LINES] for part in _weight(line, "+", why)]
    parts += [part for line in fault.against[:MOST_LINES] for part in _weight(line, "−", why)]
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
    if len(fault.checks) > 1:
        then = "; ".join(c.words for c in fault.checks[1:])
        parts.append(Content.assemble(("  Or then: ", "bold"), plain(then, 300), ". c enters what came of one."))
    elif check.outcomes:
        parts.append(shown("  c enters what came of it."))
    parts.append(shown(""))
    return parts


def _weight(line: Line, glyph: str, why: bool) -> list[Content]:
    """What a finding weighs; with why, and where that comes from."""
    words = plain(f"{line.words}: {line.detail}" if line.detail else line.words, 300)
    head = Content.assemble(
        (f"  {glyph} {number(abs(line.db)):>5} ", "$success" if glyph == "+" else "$warning"), words
    )
    if not why:
        return [head]
    told = "; ".join(sources()[s].words for s in line.sources if s in sources())
    return [head, shown(f"          {plain(line.why, 300)} ({told})", "$secondary")]
