"""What of a series follows the switching: least squares under noise that is part white, part a slow random walk.

Symbols: n moments, B bands, y[t, b] = q_b + h_b a[t] + e[t, b], e with covariance V = W + rho R over time, W white (by
how much sound each moment averages), R a random walk, rho found by restricted likelihood; the same V for all bands.
Drift slower than a cycle is what a random walk does, so g, the weights with h = g y, look at neighbouring half cycles
only. The covariance over bands comes from the residuals and is scaled by how much the cycles differ among themselves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.signal.take import shrunk_correlation

WALK_GRID = (0.0, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0)
"""rho: variance the walk gains in a second over that of a second's steady sound. Drift of 0.5 dB with a time constant
of 60 s over 15 kHz of noise is 6."""
MODEL_DOF = 10.0
"""Degrees of freedom that residuals within the cycles weigh against the scatter between them: about as many as a
take of six cycles has. Reasoned, not benched: more would trust few cycles too much, fewer would cost depth."""
LEAST_SCALE = 0.6
"""Cycles that agree better than noise allows lower the variance no further."""


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """The part that follows the switching."""

    h: NDArray[np.float64]
    """Per band [shape=(B,)]."""
    cov: NDArray[np.float64]
    """Its covariance [shape=(B, B)]."""
    dof: float
    """Degrees of freedom behind ``cov``."""
    scale: float
    """Variance between cycles over that within: about 1 where nothing but noise and drift differs."""
    rho: float
    """How much the level walked."""
    residual: NDArray[np.float64]
    """y less what follows the switching [shape=(n, B)]."""


def fit(
    y: NDArray[np.float64],
    a: NDArray[np.float64],
    t_s: NDArray[np.float64],
    seconds: NDArray[np.float64],
    cycle: NDArray[np.intp],
    weight: NDArray[np.float64],
    rho: float | None = None,
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
    cycle
        Which cycle each moment belongs to [shape=(n,)].
    weight
        Weights over bands of the one series that rho is read from [shape=(B,)], sum 1.
    rho
        Where it is known from elsewhere: a dozen half cycles cannot tell it.
    """
    white = np.diag(1.0 / seconds)
    walk = np.minimum.outer(t_s - t_s[0], t_s - t_s[0])
    x = np.stack([np.ones_like(a), a], axis=1)
    if rho is None:
        rho = _mean_rho(y @ weight, x, white, walk)
    v = white + rho * walk
    solved = np.linalg.solve(v, x)
    inner = np.linalg.inv(x.T @ solved)
    g = inner @ solved.T  # [2, n]
    beta = g @ y
    residual = y - x @ beta
    nu = len(y) - 2
    over_bands = residual.T @ np.linalg.solve(v, residual) / nu
    scale, cycles = _between(residual, g[1], v, over_bands, x @ g, cycle, weight)
    dof = MODEL_DOF + cycles
    moderated = max((MODEL_DOF + cycles * scale) / dof, LEAST_SCALE)
    cov = moderated * inner[1, 1] * _regular(over_bands, nu, weight)
    return Fit(beta[1], cov, dof, scale, rho, y - np.outer(a, beta[1]))


def _regular(cov: NDArray[np.float64], nu: int, weight: NDArray[np.float64]) -> NDArray[np.float64]:
    """A covariance over bands that can be inverted; the variance of the bands together stays what it was.

    Shrinking correlations towards none would take the drift, which all bands share, for so many independent ones.
    """
    sd = np.sqrt(np.maximum(np.diag(cov), 1e-30))
    r, _ = shrunk_correlation(cov / np.outer(sd, sd), nu)
    out = r * np.outer(sd, sd)
    return np.asarray(out * max(float(weight @ cov @ weight) / float(weight @ out @ weight), 1.0))


def _mean_rho(
    z: NDArray[np.float64], x: NDArray[np.float64], white: NDArray[np.float64], walk: NDArray[np.float64]
) -> float:
    """Mean of rho over its grid by restricted likelihood: the likeliest one alone would be too sure of a still shop."""
    log_p = np.array([_restricted(z, x, white + r * walk) for r in WALK_GRID])
    p = np.exp(log_p - log_p.max())
    return float(p @ WALK_GRID / p.sum())


def _restricted(z: NDArray[np.float64], x: NDArray[np.float64], v: NDArray[np.float64]) -> float:
    """Restricted log likelihood of a covariance over time, its size profiled out (Patterson & Thompson 1971)."""
    factor = np.linalg.cholesky(v)
    xs, zs = np.linalg.solve(factor, x), np.linalg.solve(factor, z)
    inner = xs.T @ xs
    left = zs - xs @ np.linalg.solve(inner, xs.T @ zs)
    nu = len(z) - x.shape[1]
    log_det = 2.0 * np.log(np.diag(factor)).sum() + np.linalg.slogdet(inner)[1]
    return float(-0.5 * (log_det + nu * np.log(left @ left)))


def _between(
    residual: NDArray[np.float64],
    g: NDArray[np.float64],
    v: NDArray[np.float64],
    over_bands: NDArray[np.float64],
    hat: NDArray[np.float64],
    cycle: NDArray[np.intp],
    weight: NDArray[np.float64],
) -> tuple[float, int]:
    """Sum of squares of the cycles' own shares of h over what ``v`` makes of it, and how many cycles there are."""
    members = np.unique(cycle)
    each = np.where(cycle == members[:, None], g, 0.0)  # [cycles, n]
    scores = each @ residual @ weight
    left = each @ (np.eye(len(g)) - hat)
    expected = float(np.einsum("in,nm,im->", left, v, left)) * float(weight @ over_bands @ weight)
    return float(scores @ scores) / max(expected, 1e-30), len(members)
