"""The trade's names for what the journal holds as identifiers: paths, points, plugs, symptoms, clips, people's calls.

An identifier that a newer program wrote and this one does not know is shown as it stands, made safe.
"""

from collections.abc import Iterable

from listen.errors import HisswayError
from listen.trade.facts import facts, plugs
from listen.trade.points import PATH_WORDS, PathId, point
from listen.voice.figures import UNKNOWN, sure
from listen.voice.text import plain

LONGEST = 60
"""Characters of an unknown identifier that are shown."""
SHORT_PATHS = {
    "intake-valve": "intake",
    "exhaust-valve": "exhaust",
    "coolant-passage": "coolant",
    "next-cylinder": "next cyl.",
}
"""Where there is no room for the trade's full words."""
CLIPS = {
    "quiet": "air off",
    "air": "air on",
    "sound": "air on, sound cylinder",
    "shut": "cylinder side shut off",
    "switched": "air off and on",
}
"""What the air did while a clip was taken."""
SOURCES = {
    "prior": "before anything was heard",
    "unforeseen": "what nobody foresees",
    "taught": "taught by made-up rounds",
    "loss": "loss read",
    "shut": "cylinder side shut off",
    "top-found-again": "loss at top found again",
}
"""What moves the odds, but for points and readings that are called what they are."""
BY = {"tool": "the program", "tech": "the tech's ear", "supervisor": "the supervisor's ear"}
FIGURES = {
    "loss": "loss",
    "compression-dry": "dry compression",
    "compression-wet": "wet compression",
    "supply": "supply",
    "restrictor": "restrictor",
    "hiss-level": "hiss",
    "excess": "excess",
}

STATES = {
    "changed": "! changed since signed",
    "sent-back": "↩ sent back",
    "recording": "◌ recording",
    "cannot-tell": "? cannot tell",
    "to-confirm": "● to be confirmed",
    "confirmed": "● confirmed",
    "signed": "✓ signed",
    "new": "· new",
}
"""What a job waits for, with its sign; of several the first in this order is told."""

WAITS = {
    "again": "● came again",
    "disputed": "! decided differently",
    "changed": "! changed since signed",
    "to-decide": "● to be decided",
    "sent-back": "↩ sent back",
}
"""Why a round waits, with its sign; none tells a verdict."""


def path(path_id: str) -> str:
    return PATH_WORDS[PathId(path_id)] if path_id in set(PathId) else plain(path_id, LONGEST)


def short_path(path_id: str) -> str:
    return SHORT_PATHS.get(path_id) or path(path_id)


def paths(path_ids: Iterable[str], nothing: str = UNKNOWN) -> str:
    """Several paths; ``nothing`` where there is none."""
    return " and ".join(path(p) for p in path_ids) or nothing


def source(term: str) -> str:
    """What one line of a path's account comes from: a point, a reading, what was there before."""
    return SOURCES.get(term) or point_name(term).replace("-", " ")


def point_name(point_id: str) -> str:
    try:
        return point(point_id).words
    except HisswayError:
        return plain(point_id, LONGEST)


def plug_looks(conditions: Iterable[str], text: str = "", between: str = "; ") -> str:
    """Plug conditions, then free text."""
    known = {row.id: row.words for row in plugs()}
    looks = [known.get(c) or plain(c, LONGEST) for c in conditions]
    return between.join([*looks, plain(text)] if text else looks) or UNKNOWN


def symptom_name(symptom_id: str) -> str:
    return facts()[symptom_id].words if symptom_id in facts() else plain(symptom_id, LONGEST)


def figure_name(name: str) -> str:
    """A reading or measured figure by its name in the journal."""
    return FIGURES.get(name) or symptom_name(name)


def clip(kind: str) -> str:
    return CLIPS.get(kind, plain(kind, LONGEST))


WALKS = {"quiet": "quiet walk", "air": "air walk", "closing": "closing walk", "switched": "switched take"}


def walked_clip(point_id: str, walk: str) -> str:
    return f"{point_name(point_id)}, {WALKS.get(walk, plain(walk, LONGEST))}"


def by_ear(path_ids: tuple[str, ...], sureness: float | None) -> str:
    """A call by ear: the paths, and how sure."""
    words = paths(path_ids, "heard something, could not tell where")
    return words if sureness is None else f"{words}, {sure(sureness)} sure"
