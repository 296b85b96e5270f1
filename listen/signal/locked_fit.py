"""How much of a take's level follows the switched air: least squares under noise part white, part slow random walk.

Symbols: n moments, B bands, y[t, b] = q_b + h_b a[t] + e[t, b], e with covariance V = W + rho R over time, W white (by
how much sound each moment averages), R a random walk, rho found by restricted likelihood; the same V for all bands.
Drift slower than a cycle is what a random walk does, so g, the weights with h = g y, look at neighbouring half cycles
only. The covariance over bands comes from the residuals and is scaled by how much there is of them beside the
switching: at the frequencies next to its own, and out of step with it. A shop that comes and goes fills these too.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.signal.take import shrunk_correlation

WALK_GRID = (0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 1e3, 1e4)
"""rho: variance the walk gains in a second over that of a second's steady sound; the least is as good as none. Drift of
0.5 dB with a time constant of 60 s over 15 kHz of noise is 6; a neighbour's tool that runs by the second, thousands."""
MODEL_DOF = 60.0
"""Degrees of freedom that residuals at large weigh against those beside the switching. Against 20 this is worth 0.3 dB
of depth without drift and 0.2 with it, at the same false alarms (700 silent takes a scene of the bench)..."""
ROUGH, ROUGH_DOF = 50.0, 5.0
"""...and where rho is larger than this: what comes and goes by the second is no random walk, whose residuals would let
a tool pass for a leak three to four times in a thousand (the same takes)."""
MODEL_FAILS = 3.4
"""So many times as much beside the switching as the model has it, and it counts no more: ten series, once in a hundred
where twenty degrees of freedom stand behind it."""
LEAST_SCALE = 0.6
"""Less beside the switching than noise allows lowers the variance no further."""
LEAST_DOF = 2.0
"""Of a size that one moment alone may have made."""
ASIDE = (-2, -1, 1, 2)
"""Frequencies beside that of the switching, in steps of one over the take's length."""
LEAST_OWN = 0.2
"""A series beside the switching of which less than this share is its own is left out."""


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """The part that follows the switching."""

    h: NDArray[np.float64]
    """Per band [shape=(B,)]."""
    cov: NDArray[np.float64]
    """Its covariance [shape=(B, B)]."""
    dof: float
    """Degrees of freedom behind ``cov``."""
    by: NDArray[np.float64]
    """Weights over the moments with h = by @ y [shape=(n,)]."""
    residual: NDArray[np.float64]
    """y less what follows the switching [shape=(n, B)]."""


def fit(
    y: NDArray[np.float64],
    a: NDArray[np.float64],
    t_s: NDArray[np.float64],
    seconds: NDArray[np.float64],
    period_s: float,
    weight: NDArray[np.float64],
) -> Fit:
    """Fit one take.

    Parameters
    ----------
    y
        Powers relative to quiet [shape=(n, B)].
    a
        Share of the full hiss [shape=(n,)].
    t_s, seconds
        Centre of each moment and how much sound it holds [shape=(n,)].
    period_s
        Of the switching.
    weight
        Weights over bands of the one series that rho is read from [shape=(B,)], sum 1.
    """
    # In the walk's own directions V is diagonal, whatever rho: scale by the square root of W, turn by U.
    root = np.sqrt(seconds)
    # A walk's covariance between two times is the earlier one: by then they were the same walk.
    size, turn = np.linalg.eigh(np.minimum.outer(t_s - t_s[0], t_s - t_s[0]) * np.outer(root, root))
    # A variance; rounding leaves the smallest ones a little below nought.
    size = np.maximum(size, 0.0)

    def turned(series: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(turn.T @ (root[:, None] * series))

    x, z = turned(np.stack([np.ones_like(a), a], axis=1)), turned(y)
    rho, unsure = _usual_rho(z @ weight, x, size)
    v = 1.0 + rho * size
    inner = np.linalg.inv(x.T @ (x / v[:, None]))
    gain = inner @ (x / v[:, None]).T
    beta = gain @ z
    residual = (z - x @ beta) / np.sqrt(v)[:, None]
    nu = len(y) - x.shape[1]
    over_bands = residual.T @ residual / nu
    beside = turned(_beside(t_s, period_s)) / np.sqrt(v)[:, None]
    scale, series = _mean_square(residual @ weight, x / np.sqrt(v)[:, None], beside)
    scale /= max(float(weight @ over_bands @ weight), 1e-30)
    dof = float(series)
    if scale <= MODEL_FAILS:
        model = ROUGH_DOF if rho > ROUGH else MODEL_DOF
        dof, scale = model + series, (model + series * scale) / (model + series)
    # Few moments that hold most of the residual count as few, however many there are.
    dof = min(dof, _effective(residual @ weight))
    # That the series beside are quieter than the rest is luck of a few: it may not make a limit much better.
    moderated = max(scale, LEAST_SCALE) * unsure
    cov = moderated * inner[1, 1] * regular(over_bands, nu, weight)
    return Fit(beta[1], cov, dof, (turn @ gain[1]) * root, y - np.outer(a, beta[1]))


def regular(cov: NDArray[np.float64], nu: int, weight: NDArray[np.float64]) -> NDArray[np.float64]:
    """A covariance over bands [shape=(B, B)], of ``nu`` degrees of freedom, that can be inverted; the variance of the
    bands together, by ``weight`` [shape=(B,)], stays what it was.

    Shrinking correlations towards none would take the drift, which all bands share, for so many independent ones.
    """
    sd = np.sqrt(np.maximum(np.diag(cov), 1e-30))
    r, _ = shrunk_correlation(cov / np.outer(sd, sd), nu)
    out = r * np.outer(sd, sd)
    return np.asarray(out * max(float(weight @ cov @ weight) / float(weight @ out @ weight), 1.0))


def _usual_rho(z: NDArray[np.float64], x: NDArray[np.float64], size: NDArray[np.float64]) -> tuple[float, float]:
    """rho by restricted likelihood, its logarithm's mean over the grid: the likeliest one alone would be too sure of a
    still shop, and rho's own mean follows its long tail (a third too large under drift). With it the factor by which
    what follows the switching varies more because rho is not known: its variance under each rho, and the scatter of
    its estimates from one rho to the next. Under drift of 0.5 dB one rho alone left 1.037 standard deviations for one,
    the mixture 1.018; without drift 1.010 and 1.001 (2,500 silent takes each).

    ``z`` [shape=(n,)] and ``x`` [shape=(n, 2)] are in the walk's directions, ``size`` [shape=(n,)] its variance there
    (Patterson & Thompson 1971, the size of the whole profiled out).
    """
    nu = len(z) - x.shape[1]

    def at(rho: float) -> tuple[float, float, float]:
        """Log likelihood, and what follows the switching with its variance."""
        v = 1.0 + rho * size
        inner = np.linalg.inv(x.T @ (x / v[:, None]))
        across = x.T @ (z / v)
        left = max(float(z @ (z / v) - across @ inner @ across), 1e-30)
        log_p = -0.5 * (np.log(v).sum() - np.linalg.slogdet(inner)[1] + nu * np.log(left))
        return float(log_p), float(inner[1] @ across), float(inner[1, 1]) * left / nu

    log_p, h, variance = np.array([at(rho) for rho in WALK_GRID]).T
    # The largest is taken off first, so that no likelihood underflows.
    p = np.exp(log_p - log_p.max())
    p /= p.sum()
    rho = float(np.exp(p @ np.log(WALK_GRID)))
    return rho, float(p @ (variance + (h - p @ h) ** 2)) / at(rho)[2]


def _beside(t_s: NDArray[np.float64], period_s: float) -> NDArray[np.float64]:
    """Series beside that of the switching, in frequency and out of step with it [shape=(n, k)]; last the latter's."""
    whole_s = float(t_s[-1] - t_s[0]) + 0.5 * period_s
    # Less than one turn over the take is a slope, which the walk stands for.
    aside = np.array([f for k in ASIDE if (f := 1.0 / period_s + k / whole_s) * whole_s >= 1.0])
    turns = 2 * np.pi * np.multiply.outer(t_s, np.append(aside, 1.0 / period_s))
    return np.column_stack([np.cos(turns), np.sin(turns)])


def _mean_square(
    residual: NDArray[np.float64], x: NDArray[np.float64], beside: NDArray[np.float64]
) -> tuple[float, int]:
    """Mean square of a white residual [shape=(n,)] in the series beside, what ``x`` takes of them left out; and over
    how many series of their own."""
    # A base at right angles: what the fit itself takes is subtracted once, not twice.
    own, _ = np.linalg.qr(x)
    kept: list[NDArray[np.float64]] = []
    for before in beside.T:
        alone = before - own @ (own.T @ before)
        # Of each other too: in a short take neighbouring frequencies are nearly one series.
        alone = alone - sum((k * (k @ alone) for k in kept), np.zeros_like(alone))
        if np.linalg.norm(alone) > LEAST_OWN * np.linalg.norm(before):
            kept.append(alone / np.linalg.norm(alone))
    scores = np.array([k @ residual for k in kept])
    return float(scores @ scores) / max(len(kept), 1), len(kept)


def _effective(white: NDArray[np.float64]) -> float:
    """Degrees of freedom in the size of a white residual: as many as there are moments in noise, few where few moments
    hold most of it, as when something starts or stops once (from the mean fourth power, 3 in noise)."""
    square = white**2
    return max(3.0 * float(square.sum()) ** 2 / max(float(square @ square), 1e-30) - 2.0, LEAST_DOF)
