"""The words of the owner's page in the language asked for; one table, ``owner_words.toml``, holds them all."""

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal, get_args

Language = Literal["en", "de", "es"]
LANGUAGES: tuple[Language, ...] = get_args(Language)


@cache
def table() -> dict[str, dict[str, Any]]:
    """By part (``phrase``, ``sure``, ``path``, ``point``, ``test``, ``cause``) and name, words by language."""
    return tomllib.loads(files("listen.report").joinpath("owner_words.toml").read_text("utf-8"))


@dataclass(frozen=True, slots=True)
class OwnerWords:
    """Says things in one language."""

    language: Language = "en"

    def phrase(self, key: str, **values: object) -> str:
        return str(table()["phrase"][key][self.language]).format(**values)

    def named(self, part: str, key: str, otherwise: str = "") -> str:
        """A name; one that the table does not know yet stands as the trade says it."""
        row = table()[part].get(key)
        return row[self.language] if row else otherwise or key

    def cause(self, cause: str, say: str, otherwise: str = "") -> str:
        """What the table says of a cause: its ``name``, what it ``means``, ``waits`` and ``next``."""
        row = table()["cause"].get(cause)
        return row[say][self.language] if row else otherwise

    def several(self, words: Iterable[str], last: str = "and") -> str:
        *first, end = [*words] or [""]
        return f"{', '.join(first)}{self.phrase(last)}{end}" if first else end


def sentence(text: str) -> str:
    """With a capital first and a stop last."""
    text = text[:1].upper() + text[1:]
    return text if not text or text.endswith((".", "!", "?")) else f"{text}."
