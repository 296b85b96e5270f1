"""What a shop writes on a job card beside title and complaint, and plug conditions in plain words."""

import msgspec

from listen.errors import ReadingError
from listen.trade.tables import row_named, rows_of

LONGEST = 200


class Detail(msgspec.Struct, frozen=True):
    """One row of ``details.toml``."""

    id: str
    words: str
    hint: str = ""


details = rows_of("details", "detail", Detail)
"""All fields in the order asked."""


class Plug(msgspec.Struct, frozen=True):
    """One row of ``plugs.toml``."""

    id: str
    words: str
    look: str
    sources: tuple[str, ...]
    one: str = ""
    """Evidence row where this plug alone looks so."""
    all: str = ""
    """Evidence row where all do."""
    says_nothing: bool = False
    """True where the look carries no weight."""
    note: str = ""


plugs = rows_of("plugs", "plug", Plug)


def plug(plug_id: str) -> Plug:
    """Look a condition up; ``ReadingError`` where it is unknown."""
    return row_named({row.id: row for row in plugs()}, plug_id, "plug condition", ReadingError)
