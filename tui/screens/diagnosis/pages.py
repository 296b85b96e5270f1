"""A diagnosis as one page of words."""

from collections.abc import Iterable

from textual.content import Content

from listen.diagnosis.model import MADE, Diagnosis, Fault
from listen.diagnosis.weigh import Line
from listen.jobs.job import Job
from listen.trade.causes import blind_spots, causes, contradictions, sources
from listen.trade.cautions import cautions_for
from listen.trade.facts import facts, plugs
from listen.voice import figures, names
from listen.voice.figures import number
from listen.voice.text import plain
from tui.content import shown

MOST_TEXT = 2000
"""Characters of what is said first: with all that was not tested it is longer than other texts."""
MOST_LINES = 6
"""Weights shown of each side; with reasons all of them."""


def page(diagnosis: Diagnosis, job: Job, made: tuple[str, ...] = (), *, why: bool = False) -> Content:
    """Everything that may be said, headings first; with reasons and sources if asked."""
    parts = [shown(diagnosis.text, "bold", MOST_TEXT), shown("")]
    if diagnosis.stop_for:
        found = f" Found: {'; '.join(diagnosis.stop_why)}." if diagnosis.stop_why else ""
        cautions = cautions_for("stop-driving")
        warned = [
            part for c in cautions for part in (shown(f"▲ {c.words}{found}", "bold $warning"), *_from(c.sources, why))
        ]
        parts = [*warned, shown(""), *parts]
    for fault in diagnosis.faults:
        parts += _fault(fault, why)
    parts += _part("Checks made", [shown(f"  ✓ {words}") for words in made])
    rows = {row.id: row for row in contradictions()}
    doubts = ((d, shown(f"  ≠ {d.words} {d.then}", "$warning")) for d in diagnosis.contradictions)
    told = [part for d, line in doubts for part in (line, *_from(rows[d.id].sources, why))]
    parts += _part("What contradicts itself", told)
    untested = [shown(f"  – {t.words}{f': {t.note}' if t.note else ''}") for t in diagnosis.tests if t.note != MADE]
    parts += _part("Not tested, so it cannot be ruled out", untested)
    if why:
        parts += [*_blind(diagnosis), *_noted(job)]
    if diagnosis.shop_trouble:
        parts.append(shown(f"! {diagnosis.shop_trouble}", "$warning"))
    if diagnosis.shop_rows:
        parts.append(shown(f"This shop's own rows count: {', '.join(diagnosis.shop_rows)}.", "$warning"))
    parts.append(shown(diagnosis.disclaimer, "$secondary"))
    return Content("\n").join(parts)


def _part(head: str, lines: list[Content]) -> list[Content]:
    """Lines under their head, with a free one behind; nothing where there are none."""
    return [shown(head, "$accent"), *lines, shown("")] if lines else []


def _from(ids: Iterable[str], why: bool = True, before: str = "") -> list[Content]:
    """Where a row of the tables comes from, if asked."""
    told = "; ".join(sources()[s].words for s in ids if s in sources())
    return [shown(f"          {before}({told})", "$secondary")] if why else []


def _blind(diagnosis: Diagnosis) -> list[Content]:
    """What each test that was made cannot see, and what misleads it."""
    parts = []
    for t in (t for t in diagnosis.tests if t.made):
        misleads = f"; misled by {', '.join(t.misleads)}" if t.misleads else ""
        parts.append(shown(f"  – {t.words}: {', '.join(t.blind_to)}{misleads}"))
        parts += _from(blind_spots()[t.test].sources)
    return _part("What the tests made cannot see", parts)


def _noted(job: Job) -> list[Content]:
    """Looks of plugs and facts that were noted, each with its source."""
    looks = {look for seen in job.plugs.values() for look in seen.conditions}
    told = {id for found in job.symptoms.values() for id in found}
    rows = [(p.words, p.sources) for p in plugs() if p.id in looks]
    rows += [(f.words, f.sources) for f in facts().values() if f.id in told]
    return _part("What was noted", [part for words, ids in rows for part in (shown(f"  – {words}"), *_from(ids))])


def symptom_words(job: Job) -> str:
    """Symptoms of the whole engine in words; asked and not asked are told apart."""
    told = ", ".join(names.symptom_name(s) for s in job.symptoms_of())
    return f"Symptoms: {told}." if told else "Symptoms asked: none." if job.symptoms_asked else "Symptoms not asked."


def _fault(fault: Fault, why: bool) -> list[Content]:
    head = f"▲ {plain(fault.words)} · {plain(fault.place)} · {figures.sure(fault.probability)}, {plain(fault.sure)}"
    parts = [shown(head, "bold $accent")]
    parts += _from(causes()[fault.cause].sources, why, f"before any evidence {number(fault.prior_db)} dB ")
    most = None if why else MOST_LINES
    parts += [part for line in fault.supports[:most] for part in _weight(line, "+", why)]
    parts += [part for line in fault.against[:most] for part in _weight(line, "−", why)]
    if fault.rivals:
        rivals = ", ".join(f"{c.words} {figures.sure(c.probability)}" for c in fault.rivals)
        parts.append(shown(f"  It could also be: {rivals}", "$warning"))
    check = fault.next_check
    if check.risk:
        parts.append(shown(f"  ▲ {check.risk}", "$warning"))
    parts.append(
        Content.assemble(
            ("  Next cheapest check: ", "bold"),
            plain(check.do, 400),
            f" {plain(check.means, 400)} About {check.minutes} min, {plain(check.tools, 80)}.",
        )
    )
    parts += _from(check.sources, why)
    if len(fault.checks) > 1:
        then = "; ".join(c.words for c in fault.checks[1:])
        parts.append(Content.assemble(("  Or then: ", "bold"), plain(then, 300), ". c enters what came of one."))
    elif check.outcomes:
        parts.append(shown("  c enters what came of it."))
    parts.append(shown(""))
    return parts


def _weight(line: Line, glyph: str, why: bool) -> list[Content]:
    """What a finding weighs; with why, and where that comes from."""
    words = line.words if not line.detail else f"{line.words}: {line.detail}"
    words = plain(line.detail if line.detail.startswith(line.words) else words, 300)
    head = Content.assemble(
        (f"  {glyph} {number(abs(line.db)):>5} ", "$success" if glyph == "+" else "$warning"), words
    )
    return [head, *_from(line.sources, why, f"{plain(line.why, 300)} ")]
