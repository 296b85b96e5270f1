"""Values copied from one record to another that calls them the same."""

from typing import Any


def same_fields(source: object, *names: str) -> dict[str, Any]:
    """Keyword arguments for another record."""
    return {name: getattr(source, name) for name in names}
