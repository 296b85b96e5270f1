"""The engine's table: its columns, what may be typed into each, and how they share the screen."""

from dataclasses import dataclass
from textwrap import wrap

from rich.cells import cell_len
from rich.text import Text
from textual.coordinate import Coordinate
from textual.widgets import DataTable

from listen.jobs.job import Job
from listen.trade.cautions import Step
from tui.content import fitting
from tui.screens.engine import cells


@dataclass(frozen=True, slots=True)
class Column:
    id: str
    head: str
    width: int = 0
    typed: str = ""
    """Column of the figure that is typed there: its own, or the one that it is worked out from; empty: none."""
    steps: tuple[Step, ...] = ()
    """Steps whose cautions stand before its first figure."""


COLUMNS = (
    Column("cylinder", "Cyl", 3),
    Column("dry", "Dry {unit}", 7, "dry", ("plugs-out", "cranking")),
    Column("share", "% max", 5, "dry"),
    Column("wet", "Wet {unit}", 7, "wet", ("wet-test",)),
    Column("rise", "Rise", 5, "wet"),
    Column("loss", "Loss %", 6, "loss"),
    Column("plug", "Plug"),
    Column("verdict", "Verdict"),
)
LEAN, MAY_GO = 70, ("share", "rise", "plug")
"""Columns of the screen below which those go that the line below the table tells, or the diagnosis."""
MOST_PLUG, LEAST_VERDICT = 16, 12
"""Columns of the plug where the table has few (longer words break into lines), and of the verdict at least."""
WIDE = 100
"""Columns from which the table's cells have a blank on both sides; else on one."""
BESIDE = 3
"""Columns beside the table: its margins and a scroll bar."""


class EngineTable(DataTable[Text]):
    """A row a cylinder."""

    def __init__(self) -> None:
        super().__init__(id="table", cursor_type="cell", zebra_stripes=False)

    def fill(self, job: Job) -> None:
        # Filled anew, it forgets where one was.
        at = self.cursor_coordinate if self.row_count else Coordinate(0, 1)
        # With its columns: their widths belong to the screen's size and to what stands in them.
        self.clear(columns=True)
        screen = self.screen.size.width
        self.cell_padding, gap = (1, 0) if screen >= WIDE else (0, 1)
        columns, cylinders = self._columns(), job.engine.cylinders
        room = screen - BESIDE - (2 if screen >= WIDE else 1) * len(columns)
        widths = _widths(columns, room, [cells.plug_words(n, job) for n in cylinders])
        for column in columns:
            head = column.head.format(unit=job.pressure_unit)
            self.add_column(head, width=widths[column.id] + gap, key=column.id)
        for n in cylinders:
            words = cells.texts(n, job)
            words["verdict"] = fitting(cells.verdict_forms(n, job), widths["verdict"])
            self.add_row(*(_broken(words[c.id], widths[c.id], gap) for c in columns), height=None)
        # Held within: the engine may have been described with fewer cylinders meanwhile.
        self.move_cursor(row=min(at.row, len(cylinders) - 1), column=min(at.column, len(columns) - 1))

    @property
    def column(self) -> Column:
        """The column one is on."""
        columns = self._columns()
        return columns[min(self.cursor_column, len(columns) - 1)]

    def _columns(self) -> tuple[Column, ...]:
        """What there is room for."""
        return tuple(c for c in COLUMNS if self.screen.size.width >= LEAN or c.id not in MAY_GO)


def _widths(columns: tuple[Column, ...], room: int, plugs: list[str]) -> dict[str, int]:
    """Width of every column: plug and verdict share what the figures leave."""
    taken = {c.id: c.width for c in columns}
    rest = room - sum(taken.values())
    if "plug" in taken:
        wanted = max([len("Plug"), *(cell_len(p) for p in plugs)])
        taken["plug"] = min(wanted, max(MOST_PLUG, rest // 2))
        # What the plug leaves is the verdict's, which is cut to its shorter forms where it has to be.
        rest -= taken["plug"]
    return taken | {"verdict": max(rest, LEAST_VERDICT)}


def _broken(text: str, columns: int, gap: int) -> Text:
    """A cell's text, broken between words where it is too long for one line, with a blank behind it."""
    return Text("\n".join(f"{line}{' ' * gap}" for line in wrap(text, columns) or [""]), no_wrap=True)
