"""A table of rows whose Enter says what it does."""

from typing import ClassVar

from rich.text import Text
from textual.binding import Binding, BindingType
from textual.widgets import DataTable


class Rows(DataTable[Text]):
    """One row is chosen, and opened."""

    BINDINGS: ClassVar[list[BindingType]] = [Binding("enter", "select_cursor", "Open")]
