"""New job: title and engine, with the engine drawn as it is described; or the engine of a job described anew."""

import re
from collections.abc import Iterable

import msgspec
from textual import on
from textual.app import ComposeResult
from textual.widgets import Input, Select, Static

from listen.errors import HisswayError
from listen.jobs.events import EngineDescribed, JobNamed, Payload, PersonChosen
from listen.jobs.folder.open_job import OpenJob
from listen.jobs.folder.store import create_job
from listen.jobs.job import Job
from listen.trade.engine import Engine, Exhaust, engine_of_rows, layout, layout_row, layout_rows
from listen.trade.points import point_rows
from listen.trade.units import KPA_PER
from listen.voice.text import plain
from tui.content import shown
from tui.screens.card.screen import UNTITLED
from tui.screens.form import FormScreen, Line
from tui.widgets.engine_view import EngineView

ROWS = "rows"
TAILPIPES = {"one": ("tailpipe",), "two, left and right": ("tailpipe-left", "tailpipe-right")}
ASK = "which end is cylinder 1?"
_SEPARATORS = re.compile(r"[\s,;·>–-]+")


class NewJobScreen(FormScreen[OpenJob | tuple[Payload, ...]]):
    """What cannot be is said below the drawing, and nothing is lost by it.

    Dismisses with the new job; of a job described anew with the events that say so.
    """

    CSS_PATH = "new_job.tcss"
    AUTO_FOCUS = "#title"

    def __init__(self, of: Job | None = None) -> None:
        """``of``: a job whose engine is described anew."""
        super().__init__()
        self._of = of
        self.HERE, self.KEEP = ("engine described", "Keep") if of else ("new job", "Start this job")  # type: ignore[misc]

    def lines(self) -> tuple[Line, ...]:
        """The engine as it was described before, or as most are; a new job's title and people around it."""
        was = self._of.engine if self._of else layout("inline-4")
        mouths = tuple(e.point for e in was.exhausts)
        rows = " / ".join("-".join(map(str, row)) for row in was.rows) if self._of else ""
        layouts = [(r.words, r.id) for r in layout_rows() if r.id != "inline-1"] + [("any other, in rows", ROWS)]
        known = was.layout if was.layout in (id for _, id in layouts) else ROWS
        crankcases = [(row.words, row.id) for row in point_rows() if row.walked == "crankcase"]
        engine = (
            Line("layout", "Engine", known, options=layouts),
            Line("numbering", "Numbered", hint=ASK, options=()),
            Line("rows", "Rows", rows, "front to back, e.g. 1-2-3 / 4-5-6"),
            Line("firing", "Firing order", "-".join(map(str, was.firing_order)) if self._of else ""),
            _chosen("tailpipes", "Tailpipes", TAILPIPES, next((w for w, p in TAILPIPES.items() if p == mouths), "one")),
            Line("crankcase", "Crankcase at", was.crankcase_point, options=crankcases),
            _chosen("cooling", "Cooled by", ("coolant", "air"), "air" if was.cooling == "air" else "coolant"),
            _chosen("fuel", "Fuel", ("petrol", "diesel"), was.fuel),
            _chosen("unit", "Pressures in", KPA_PER, self._of.pressure_unit if self._of else "kPa"),
        )
        if self._of is not None:
            return engine
        return (
            Line("title", "Title", hint="what everybody will call it"),
            *engine,
            Line("complaint", "Complaint", hint="what brought it here"),
            Line("shop", "Shop"),
            Line("tech", "Tech", hint="who does the test"),
        )

    def below(self) -> ComposeResult:
        yield Static(id="ask")
        yield EngineView(id="drawing")

    def on_mount(self) -> None:
        self.query_one("#drawing").can_focus = False
        self._layout_chosen()

    @on(Select.Changed, "#layout")
    def _layout_chosen(self) -> None:
        in_rows = self.text("layout") == ROWS
        self.query_one("#line-rows").display, self.query_one("#line-numbering").display = in_rows, not in_rows
        firing, asks = "as stamped; empty: not known", "Cylinder numbers, front to back; a slash begins the next bank."
        if not in_rows:
            row, numbering = layout_row(self.text("layout")), self.query_one("#numbering", Select)
            numbering.set_options([(n.words, n.id) for n in row.numbering])
            known = [n.id for n in row.numbering if self._of is not None and n.rows == self._of.engine.rows]
            if known or len(row.numbering) == 1:
                numbering.value = (known or [row.numbering[0].id])[0]
            if known:
                self.begun["numbering"] = known[0]
            usual = "-".join(map(str, row.firing_orders[0]))  # an example of the form: it is asked, never given
            firing = f"as stamped: {usual} ...; empty: not known"
            asks = " ".join(row.ask) or "Only one cylinder: nothing to ask about numbering."
        self.query_one("#firing", Input).placeholder = firing
        self.query_one("#ask", Static).update(shown(asks))
        self._draw()

    @on(Input.Changed)
    @on(Select.Changed)
    def _draw(self) -> None:
        drawing = self.query_one("#drawing", EngineView)
        try:
            drawing.rows, drawing.chosen = self._engine().rows, 0
        except HisswayError as e:
            self.wrong(e)
            drawing.display = False
            return
        self.wrong("")
        drawing.display = True

    def _engine(self) -> Engine:
        firing = numbers(self.text("firing"))
        if self.text("layout") == ROWS:
            rows = [numbers(part) for part in self.text("rows").split("/")]
            engine = engine_of_rows(rows, firing_order=firing)
        else:
            numbering = self.text("numbering") or None
            engine = layout(self.text("layout"), numbering=numbering, firing_order=firing)
        return msgspec.structs.replace(
            engine,
            exhausts=tuple(map(Exhaust, TAILPIPES[self.text("tailpipes")])),
            cooling="air" if self.text("cooling") == "air" else "liquid",
            fuel="diesel" if self.text("fuel") == "diesel" else "petrol",
            crankcase_point=self.text("crankcase"),
        )

    def action_keep(self) -> None:
        """Write the job's first event and go on to its engine; or give back what changed."""
        try:
            if self._of is None and not self.text("title"):
                self.wrong(UNTITLED, "title")
            elif self.query_one("#line-numbering").display and not self.text("numbering"):
                self.wrong("Which end is cylinder 1? Choose how it is numbered.", "numbering")
            elif self._of is not None:
                self._describe(self._of, msgspec.structs.replace(self._engine(), name=self._of.engine.name))
            else:
                self.dismiss(self._create(self._engine()))
        except HisswayError as e:
            self.wrong(e)

    def _describe(self, of: Job, engine: Engine) -> None:
        unit = self.text("unit")
        described = (EngineDescribed(engine=engine, size=of.size),) if engine != of.engine else ()
        named = (JobNamed(pressure_unit=unit),) if unit != of.pressure_unit else ()
        self.dismiss((*described, *named))

    def _create(self, engine: Engine) -> OpenJob:
        opened = create_job(
            self.bay.services.jobs_root(),
            title=plain(self.text("title")),
            shop=plain(self.text("shop")),
            engine=engine,
            pressure_unit=self.text("unit"),
            complaint=plain(self.text("complaint"), 2000),
            actor=plain(self.text("tech")),
        )
        if self.text("tech"):
            opened.append(PersonChosen(role="tech", name=plain(self.text("tech"))))
        return opened


def _chosen(id: str, words: str, options: Iterable[str], value: str) -> Line:
    return Line(id, words, value, options=[(o, o) for o in options])


def numbers(text: str) -> tuple[int, ...]:
    """Cylinder numbers written with any separator; what is no number is refused in words."""
    parts = [p for p in _SEPARATORS.split(text.strip()) if p]
    if bad := next((p for p in parts if not p.isdecimal() or len(p) > 2), None):
        raise HisswayError(f"“{plain(bad, 20)}” is not a cylinder number; write them like 1-3-4-2")
    return tuple(int(p) for p in parts)
