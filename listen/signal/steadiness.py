"""Whether what the air clip has more is steady, as escaping air is, or came in events: read from spectral kurtosis.

Symbols: u share of the hiss in a band's power, SK spectral kurtosis. A steady hiss dilutes what the background does:
SK_air = 1 + (1 - u)^2 (SK_quiet - 1). Where the increase itself came in events, SK_air lies above that.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from listen.signal.take import TakeBands

HISS_SHARE = 0.3
"""Bands with less hiss than this say nothing of its steadiness."""
UNSTEADY_BY = 1.0
"""Kurtosis beyond what a steady hiss leaves that counts as events: five times what chance gives a 4 s clip's mean over
a few bands. With the background's own liveliness added, 6 of 340 points of the accuracy bench's tuning rounds over
recordings pass it together with a detected hiss."""


@dataclass(frozen=True, slots=True)
class Steadiness:
    """Kurtosis of an increase."""

    found: float
    """Spectral kurtosis of the air clips, mean over the bands that carry the hiss."""
    steady: float
    """What a steady hiss over this background would leave."""
    quiet: float
    """Kurtosis of the quiet clips in the same bands: a lively background says little of what lies over it."""

    @property
    def in_events(self) -> bool:
        """True where the increase came in events."""
        return self.found > self.limit

    @property
    def limit(self) -> float:
        """Kurtosis above which it did."""
        return self.steady + UNSTEADY_BY + max(self.quiet - 1.0, 0.0)


def steadiness(quiet: Sequence[TakeBands], air: Sequence[TakeBands]) -> Steadiness | None:
    """Steadiness of the increase from quiet to air takes; ``None`` where no band holds enough of it."""
    q, a = (np.mean([t.mean for t in takes], axis=0) for takes in (quiet, air))
    # No share below nought: where air came out softer there is no hiss to be judged.
    share = np.clip(1.0 - q / a, 0.0, 1.0)
    use = share > HISS_SHARE
    if not use.any():
        return None
    before, after = (np.mean([t.kurtosis for t in takes], axis=0)[use] for takes in (quiet, air))
    # Below 1 a background is steadier than noise by chance only.
    steady = 1.0 + (1.0 - share[use]) ** 2 * np.maximum(before - 1.0, 0.0)
    return Steadiness(float(after.mean()), float(steady.mean()), float(before.mean()))
