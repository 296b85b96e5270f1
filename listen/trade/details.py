"""What a shop writes on a job card beside title and complaint."""

from functools import cache

import msgspec

from listen.trade.tables import rows

LONGEST = 200
"""Characters of one field."""


class Detail(msgspec.Struct, frozen=True):
    """One row of ``details.toml``."""

    id: str
    words: str
    hint: str = ""


@cache
def details() -> tuple[Detail, ...]:
    """All fields in the order asked."""
    return rows("details", "detail", Detail)
