"""What is wrong or doubtful with a clip or a pair of clips: a name, a number, its limit, and what to do next."""

import msgspec

from listen.bounded import Figure


class Flag(msgspec.Struct, frozen=True, kw_only=True):
    """One finding about the quality of a clip or of a comparison."""

    flag: str
    """Name in lower case with hyphens, for example ``clipping``."""
    value: Figure
    """The figure measured (finite)."""
    limit: Figure
    """The figure at which the flag is raised."""
    text: str
    """One sentence: what, how much, what to do next."""
    reject: bool = False
    """True where the number must not be believed and the clip is to be taken again."""
