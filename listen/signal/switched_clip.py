"""A switched take beside its timeline, and the two clips its halves make for all that looks at clips of one kind."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from listen.signal.clip import Clip
from listen.signal.switching import Timeline
from listen.trade.points import Kind

FADE_S = 0.02
"""Cross-fade where two pieces meet: a step of the rumble there would be heard as a click."""
MOST_LEFT = 0.2
"""A moment with less than this share of the hiss left counts as air off."""
LEAST_PIECE_S = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class SwitchedClip:
    """One take through which the air went on and off."""

    kind: Kind
    """``switched`` or ``switched-sound``."""
    clip: Clip
    timeline: Timeline | None
    """None where no switching could be found and none was commanded."""
    common: NDArray[np.float64] | None = None
    """Log level of the shop in blocks of a second, as the other channels of the take heard it [shape=(n,)]."""

    @property
    def on_kind(self) -> Kind:
        """What its air-on halves are."""
        return Kind.SOUND if self.kind is Kind.SWITCHED_SOUND else Kind.AIR

    def halves(self) -> tuple[Clip, Clip] | None:
        """The air-off and the air-on parts, each as one clip; ``None`` where there is nothing of one of them."""
        if self.timeline is None:
            return None
        # By hundredths of a second: edges are not known to better.
        step = max(1, self.clip.rate_hz // 100)
        t_s = (np.arange(len(self.clip.samples) // step) + 0.5) * step / self.clip.rate_hz
        off, on = (_joined(self.clip, part, step) for part in off_and_on(self.timeline, t_s))
        return (off, on) if off and on else None


def off_and_on(
    timeline: Timeline, t_s: NDArray[np.float64], most_left: float = MOST_LEFT
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Moments at which the air was off and its hiss had died away, and at which it was on and settled [shape=(n,)]."""
    free, on = ~timeline.guarded(t_s), timeline.halves(t_s) % 2 == 1
    share = timeline.share(t_s)
    off = free & ~on
    if off.any():
        # Of a hiss that dies slowly more is left everywhere: then the emptier half of the moments.
        off &= share <= max(most_left, float(np.median(share[off])))
    return off, free & on


def _joined(clip: Clip, part: NDArray[np.bool_], step: int) -> Clip | None:
    """The marked stretches after each other, cross-faded at equal power."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], part.astype(np.int8), [0]])))
    fade = round(FADE_S * clip.rate_hz)
    spans = [(a * step, b * step) for a, b in edges.reshape(-1, 2) if (b - a) * step >= LEAST_PIECE_S * clip.rate_hz]
    if not spans:
        return None
    # Its mirror is the sine: squares of the two add up to one.
    down = np.cos(np.linspace(0.0, np.pi / 2, fade, dtype=np.float32))
    out = clip.samples[slice(*spans[0])].copy()
    for a, b in spans[1:]:
        piece = clip.samples[a:b]
        out[-fade:] = out[-fade:] * down + piece[:fade] * down[::-1]
        out = np.concatenate([out, piece[fade:]])
    out.flags.writeable = False
    return replace(clip, samples=out)
