"""New job: title and engine, with the engine drawn as it is described; or the engine of a job described anew."""

import re
from collections.abc import Callable

import msgspec
from textual import on
from textual.app import ComposeResult
from textual.containers import Horizontal, VerticalScroll
from textual.widget import Widget
from textual.widgets import Button, Input, Label, Select, Static

from listen.errors import HisswayError
from listen.jobs.events import EngineDescribed, JobNamed, Payload, PersonChosen
from listen.jobs.folder.store import OpenJob
from listen.jobs.job import Job
from listen.trade.engine import Engine, Exhaust, Layout, engine_of_rows, layout, layout_row, layout_rows
from listen.trade.points import point_rows
from listen.trade.units import KPA_PER
from listen.voice.text import plain
from tui.content import shown
from tui.screens.form import FormScreen
from tui.widgets.engine_view import EngineView
from tui.widgets.field import Field

ROWS = "rows"
TAILPIPES = {"one": ("tailpipe",), "two, left and right": ("tailpipe-left", "tailpipe-right")}
ASK = "which end is cylinder 1?"
_SEPARATORS = re.compile(r"[\s,;·>–-]+")


class NewJobScreen(FormScreen["OpenJob | None"]):
    """A form of one-line fields; what cannot be is said below the drawing, and nothing is lost by it."""

    CSS_PATH = "new_job.tcss"
    AUTO_FOCUS = "#title"

    def __init__(self, of: Job | None = None, keep: Callable[[tuple[Payload, ...]], None] | None = None) -> None:
        """``of``: a job whose engine is described anew; ``keep`` is then given the events that say so."""
        super().__init__()
        self._of, self._keep = of, keep

    def way(self) -> tuple[str, ...]:
        """Where we are."""
        return (self._of.title, "engine described") if self._of else ("new job",)

    def body(self) -> ComposeResult:
        """Fields, then the drawing."""
        rows = [r for r in layout_rows() if r.id != "inline-1"]
        layouts = [(r.words, r.id) for r in rows] + [("any other, in rows", ROWS)]
        chosen = _layout_of(self._of.engine) if self._of else "inline-4"
        with VerticalScroll(id="form"):
            if self._of is None:
                yield from _field("Title", Field(id="title", placeholder="what everybody will call it", compact=True))
            yield from _field("Engine", Select(layouts, value=chosen, allow_blank=False, id="layout", compact=True))
            yield from _field("Numbered", Select[str]([], prompt=ASK, id="numbering", compact=True))
            yield from _field("Rows", Field(id="rows", placeholder="front to back, e.g. 1-2-3 / 4-5-6", compact=True))
            yield from _field("Firing order", Field(id="firing", placeholder="leave empty if not known", compact=True))
            yield from _field("Tailpipes", _choice("tailpipes", list(TAILPIPES)))
            yield from _field("Crankcase at", _choice("crankcase", list(_crankcases())))
            yield from _field("Cooled by", _choice("cooling", ["coolant", "air"]))
            yield from _field("Fuel", _choice("fuel", ["petrol", "diesel"]))
            yield from _field("Pressures in", _choice("unit", list(KPA_PER)))
            if self._of is None:
                yield from _field("Complaint", Field(id="complaint", placeholder="what brought it here", compact=True))
                yield from _field("Shop", Field(id="shop", compact=True))
                yield from _field("Tech", Field(id="tech", placeholder="who does the test", compact=True))
            yield Button("Keep" if self._of else "Start this job", id="take", variant="primary", compact=True)
            yield Static(id="ask")
            yield EngineView(id="drawing")
        yield Static(id="wrong")

    def on_mount(self) -> None:
        """Questions of the first layout."""
        super().on_mount()
        self.query_one("#drawing").can_focus = False
        if self._of is not None:
            self._fill(self._of.engine, self._of.pressure_unit)
        self._layout_chosen()

    def _fill(self, engine: Engine, unit: str) -> None:
        """Put an engine that was described before into the fields."""
        mouths = tuple(e.point for e in engine.exhausts)
        two = next((words for words, points in TAILPIPES.items() if points == mouths), next(iter(TAILPIPES)))
        self.query_one("#tailpipes", Select).value = two
        self.query_one("#crankcase", Select).value = next(
            w for w, p in _crankcases().items() if p == engine.crankcase_point
        )
        self.query_one("#cooling", Select).value = "air" if engine.cooling == "air" else "coolant"
        self.query_one("#fuel", Select).value = engine.fuel
        self.query_one("#unit", Select).value = unit
        self.query_one("#firing", Input).value = "-".join(map(str, engine.firing_order))
        self.query_one("#rows", Input).value = " / ".join("-".join(map(str, row)) for row in engine.rows)

    @on(Select.Changed, "#layout")
    def _layout_chosen(self) -> None:
        chosen = str(self.query_one("#layout", Select).value)
        self.query_one("#rows").parent_field.display = chosen == ROWS  # type: ignore[attr-defined]
        numbering = self.query_one("#numbering", Select)
        numbering.parent_field.display = chosen != ROWS  # type: ignore[attr-defined]
        if chosen != ROWS:
            row = layout_row(chosen)
            numbering.set_options([(n.words, n.id) for n in row.numbering])
            known = [n.id for n in row.numbering if self._of is not None and n.rows == self._of.engine.rows]
            if known or len(row.numbering) == 1:
                numbering.value = (known or [row.numbering[0].id])[0]
            usual = " or ".join("-".join(map(str, order)) for order in row.firing_orders)
            self.query_one("#firing", Input).placeholder = f"as stamped on the engine, for example {usual}; or empty"
            self.query_one("#ask", Static).update(shown(_questions(row)))
        else:
            self.query_one("#firing", Input).placeholder = "leave empty if not known"
            self.query_one("#ask", Static).update("Cylinder numbers, front to back; a slash begins the next bank.")
        self._draw()

    @on(Input.Changed)
    @on(Select.Changed)
    def _draw(self) -> None:
        wrong, drawing = self.query_one("#wrong", Static), self.query_one("#drawing", EngineView)
        try:
            engine = self._engine()
        except HisswayError as e:
            wrong.update(shown(f"! {e}"))
            drawing.display = False
            return
        wrong.update("")
        drawing.display = True
        drawing.rows, drawing.chosen = engine.rows, 0

    def _engine(self) -> Engine:
        firing = numbers(self._text("firing"))
        exhausts = tuple(Exhaust(p) for p in TAILPIPES[str(self.query_one("#tailpipes", Select).value)])
        chosen = str(self.query_one("#layout", Select).value)
        if chosen == ROWS:
            rows = [numbers(part) for part in self._text("rows").split("/")]
            engine = engine_of_rows(rows, firing_order=firing)
        else:
            numbering = self.query_one("#numbering", Select).value
            engine = layout(chosen, numbering=numbering if isinstance(numbering, str) else None, firing_order=firing)
        return msgspec.structs.replace(
            engine,
            exhausts=exhausts,
            cooling="air" if self.query_one("#cooling", Select).value == "air" else "liquid",
            fuel="diesel" if self.query_one("#fuel", Select).value == "diesel" else "petrol",
            crankcase_point=_crankcases()[str(self.query_one("#crankcase", Select).value)],
        )

    def _text(self, field: str) -> str:
        return self.query_one(f"#{field}", Input).value.strip()

    @on(Button.Pressed, "#take")
    def action_keep(self) -> None:
        """Write the job's first event and go on to its engine; or give back what changed."""
        if self._of is None and not self._text("title"):
            self.query_one("#wrong", Static).update(shown("! A job needs a title, so that others find it."))
            self.query_one("#title").focus()
            return
        numbering = self.query_one("#numbering", Select)
        if numbering.parent_field.display and not isinstance(numbering.value, str):  # type: ignore[attr-defined]
            self.query_one("#wrong", Static).update(shown("! Which end is cylinder 1? Choose how it is numbered."))
            numbering.focus()
            return
        if self._of is not None:
            self._describe(self._of)
            return
        try:
            opened = self._create(self._engine())
        except HisswayError as e:
            self.query_one("#wrong", Static).update(shown(f"! {e}"))
            return
        self.dismiss(opened)

    def _describe(self, of: Job) -> None:
        try:
            engine = msgspec.structs.replace(self._engine(), name=of.engine.name)
        except HisswayError as e:
            self.query_one("#wrong", Static).update(shown(f"! {e}"))
            return
        unit = str(self.query_one("#unit", Select).value)
        described = (EngineDescribed(engine=engine, size=of.size),) if engine != of.engine else ()
        named = (JobNamed(pressure_unit=unit),) if unit != of.pressure_unit else ()
        self.dismiss(None)
        if self._keep is not None and (described or named):
            self._keep((*described, *named))

    def _create(self, engine: Engine) -> OpenJob:
        from listen.jobs.folder.store import create_job

        opened = create_job(
            self.bay.services.jobs_root(),
            title=plain(self._text("title")),
            shop=plain(self._text("shop")),
            engine=engine,
            pressure_unit=str(self.query_one("#unit", Select).value),
            complaint=plain(self._text("complaint"), 2000),
            actor=plain(self._text("tech")),
        )
        if self._text("tech"):
            opened.append(PersonChosen(role="tech", name=plain(self._text("tech"))))
        return opened


class _Field(Horizontal):
    """A label and its field on one line."""

    def __init__(self, label: str, field: Widget) -> None:
        super().__init__(Label(label, markup=False), field)
        field.parent_field = self  # type: ignore[attr-defined]


def _field(label: str, field: Widget) -> ComposeResult:
    yield _Field(label, field)


def _layout_of(engine: Engine) -> str:
    """Layout to choose for an engine described before."""
    return engine.layout if any(r.id == engine.layout for r in layout_rows() if r.id != "inline-1") else ROWS


def _crankcases() -> dict[str, str]:
    """Points at which a crankcase may be listened to, by their names."""
    return {row.words: row.id for row in point_rows() if row.walked == "crankcase"}


def _choice(name: str, options: list[str]) -> Select[str]:
    return Select([(o, o) for o in options], value=options[0], allow_blank=False, id=name, compact=True)


def _questions(row: Layout) -> str:
    return " ".join(row.ask) or "Only one cylinder: nothing to ask about numbering."


def numbers(text: str) -> tuple[int, ...]:
    """Cylinder numbers written with any separator; what is no number is refused in words."""
    parts = [p for p in _SEPARATORS.split(text.strip()) if p]
    if bad := next((p for p in parts if not p.isdecimal() or len(p) > 2), None):
        raise HisswayError(f"“{plain(bad, 20)}” is not a cylinder number; write them like 1-3-4-2")
    return tuple(int(p) for p in parts)
