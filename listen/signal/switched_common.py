"""What several microphones heard alike while the air was switched: the shop's own rise and fall, to be taken out.

Symbols: z_k[i] level of channel k in steps of ``STEP_S``; h_k what of it follows the switching. A channel whose h does
not stand out serves as reference; drift seen there in step with the switching is seen alike everywhere.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from listen.signal.locked_fit import fit
from listen.signal.switching import Timeline
from listen.signal.switching_found import STEP_S, centres_s

SILENT = 3.0
"""A reference follows the switching by fewer standard deviations than this."""
SECOND_STEPS = round(1.0 / STEP_S)


def common_level(tracks: Sequence[NDArray[np.float64]], own: int, timeline: Timeline) -> NDArray[np.float64] | None:
    """Log level of the shop in each second for channel ``own``, by the other channels; ``None`` where none can say.

    ``tracks`` [shape=(n,)] each, of one length but for a block.
    """
    # The channels' ends may lie a block apart.
    n = min(len(z) for z in tracks)
    seconds = n // SECOND_STEPS
    t_s = centres_s(n)
    share, free = timeline.share(t_s), ~timeline.guarded(t_s)
    if len(tracks) < 2 or free.sum() < 4 * SECOND_STEPS:
        return None
    left = {}
    for k, z in enumerate(tracks):
        y = (z[:n] / np.median(z[:n]) - 1.0)[:, None]
        length = np.full(int(free.sum()), STEP_S)
        found = fit(y[free], share[free], t_s[free], length, timeline.period_s, np.ones(1))
        silent = abs(float(found.h[0])) < SILENT * float(np.sqrt(found.cov[0, 0]))
        # A channel that hears the hiss is freed of it; the bound keeps the logarithm of what is left.
        left[k] = (silent, np.log1p(np.maximum(y[:, 0] - (0.0 if silent else found.h[0] * share), -0.9)))
    # References hear no hiss: one that does would take a part of the leak for the shop.
    others = [series for k, (silent, series) in left.items() if k != own and silent]
    if not others or seconds < 2:
        return None
    by_second = [_seconds(series, seconds) for series in others]
    # How much of the others' rise and fall is this channel's too, from none to all: its slope on theirs.
    shop = np.mean(by_second, axis=0)
    shop -= shop.mean()
    here = _seconds(left[own][1], seconds)
    return np.asarray(np.clip(shop @ (here - here.mean()) / max(float(shop @ shop), 1e-30), 0.0, 1.0) * shop)


def _seconds(series: NDArray[np.float64], seconds: int) -> NDArray[np.float64]:
    return np.asarray(series[: seconds * SECOND_STEPS].reshape(seconds, SECOND_STEPS).mean(axis=1))
