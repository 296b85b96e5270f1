"""The account of one path: every push in decibans and the sum so far, ending at the odds of the path being at work."""

from dataclasses import dataclass
from itertools import accumulate

from listen.judge.result import PathResult

PRIOR = "prior"
"""Name of the term that stands before anything was heard or read."""


@dataclass(frozen=True, slots=True)
class Line:
    """One term of a path's account."""

    source: str
    """``prior``, a listening point, or a reading."""
    push_db: float
    """Decibans: 10 lg of the likelihood ratio (of the odds, for the prior)."""
    so_far_db: float
    """Sum up to and including this line."""


def account(path: PathResult) -> tuple[Line, ...]:
    """Terms of a path in their order, the prior first; the last ``so_far_db`` is the log odds of ``path.involved``."""
    # False sorts first, and the sort is stable: the prior leads, all else stays in the order it was weighed in.
    terms = sorted(path.evidence_db.items(), key=lambda term: term[0] != PRIOR)
    sums = accumulate(db for _, db in terms)
    return tuple(Line(source, db, total) for (source, db), total in zip(terms, sums, strict=True))
