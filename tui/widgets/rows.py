"""A table of rows whose Enter says what it does."""

from rich.text import Text
from textual.binding import Binding
from textual.widgets import DataTable


class Rows(DataTable[Text]):
    """One row is chosen, and opened."""

    BINDINGS = [Binding("enter", "select_cursor", "Open")]
