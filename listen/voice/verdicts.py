"""How a verdict is said in a few words, with its sign: the same on screens, in the report and on the command line."""

from collections.abc import Iterable

from listen.voice.figures import sure
from listen.voice.names import path, paths, short_path

GLYPHS = {"path": "▲", "several": "▲", "sound": "●", "fitting": "△", "set-up": "△", "unclear": "?"}
"""A sign beside the words, so that colour is never alone; unknown kinds have that of "cannot tell"."""
FORMS = {
    "path": "{paths}, {sure}",
    "several": "{paths}, {sure}",
    "sound": "sound, {sure}",
    "fitting": "fitting leaks, {sure}",
    "set-up": "set-up to repeat, {sure}",
    "unclear": "cannot tell",
}
"""A verdict by kind. "Cannot tell" has no path and no figure: those would read as a verdict."""


def glyph(kind: str) -> str:
    return GLYPHS.get(kind, GLYPHS["unclear"])


def kind_words(kind: str) -> str:
    """A verdict that names no path, without its figure."""
    return FORMS.get(kind, kind).partition(",")[0]


def verdict(kind: str, path_ids: Iterable[str], probability: float, *, short: bool = False) -> str:
    """A verdict in a few words, without its sign."""
    named = list(path_ids)
    words = " + ".join(map(short_path, named)) if short else paths(named, kind)
    return FORMS.get(kind, FORMS["path"]).format(paths=words, sure=sure(probability))


def odds(chances: Iterable[tuple[str, float]], between: str = ", ") -> str:
    """Paths with the probability that each is at work."""
    return between.join(f"{path(path_id)} {sure(probability)}" for path_id, probability in chances)
