"""Ways in which a round's clips may be taken: what each asks for, and the order it gives to the steps."""

import msgspec


class Way(msgspec.Struct, frozen=True):
    id: str
    words: str
    suits: str
    """Whom it suits, in one sentence."""
    walks: tuple[str, ...]
    """Walks whose clips it takes, in order."""
    by_point: bool = False
    """All clips of a point before the next point; the call by ear comes after them."""


_TABLE = (
    Way(
        "each-point",
        "Point by point",
        "One microphone, no valve in the hose: quiet, air, quiet at each point before the next; drift counts little.",
        ("quiet", "air", "closing"),
        by_point=True,
    ),
    Way(
        "walks",
        "Walk by walk",
        "One microphone, air slow to come and go: all points quiet, all with air, all quiet again.",
        ("quiet", "air", "closing"),
    ),
    Way(
        "switched",
        "Air switched",
        "A quarter-turn valve in the hose and one microphone: it stays while the air goes on and off; hears deepest.",
        ("switched",),
        by_point=True,
    ),
    Way(
        "all-at-once",
        "All at once",
        "A valve in the hose and a microphone at every point, on one input: the whole cylinder in one take.",
        ("switched",),
        by_point=True,
    ),
)
WAYS: dict[str, Way] = {way.id: way for way in _TABLE}
ALL = "all-at-once"
EACH = "each-point"
USUAL = "walks"
