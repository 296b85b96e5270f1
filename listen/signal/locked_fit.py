"""What of a series follows the switching: least squares under noise that is part white, part a slow random walk.

Symbols: n moments, B bands, y[t, b] = q_b + h_b a[t] + e[t, b], e with covariance V = W + rho R over time, W white (by
how much sound each moment averages), R a random walk, rho found by restricted likelihood; the same V for all bands.
Drift slower than a cycle is what a random walk does, so g, the weights with h = g y, look at neighbouring half cycles
only. The covariance over bands comes from the residuals and is scaled by how much there is of them beside the
switching: at the frequencies next to its own, and out of step with it. A shop that comes and goes fills these too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.signal.take import shrunk_correlation

WALK_GRID = (0.0, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 1e3, 1e4)
"""rho: variance the walk gains in a second over that of a second's steady sound. Drift of 0.5 dB with a time constant
of 60 s over 15 kHz of noise is 6; a neighbour's tool that runs by the second, thousands."""
MODEL_DOF = 10.0
"""Degrees of freedom that residuals at large weigh against those beside the switching: about as many as these have.
Reasoned, not benched: more would trust the model of drift too much, fewer would cost depth."""
MODEL_FAILS = 0.99
"""Where chance makes so much beside the switching this seldom, the model of drift counts no more."""
LEAST_SCALE = 0.6
"""Less beside the switching than noise allows lowers the variance no further."""
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
    scale: float
    """Variance beside the switching over what the model makes of it: about 1 where nothing but noise and drift is."""
    rho: float
    """How much the level walked."""
    residual: NDArray[np.float64]
    """y less what follows the switching [shape=(n, B)]."""


def fit(
    y: NDArray[np.float64],
    a: NDArray[np.float64],
    t_s: NDArray[np.float64],
    seconds: NDArray[np.float64],
    period_s: float,
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
    period_s
        Of the switching.
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
    scale, series = _beside(residual @ weight, v, x, t_s, period_s)
    scale /= max(float(weight @ over_bands @ weight), 1e-30)
    dof = float(series)
    if not _model_fails(scale, series):
        dof, scale = MODEL_DOF + series, (MODEL_DOF + series * scale) / (MODEL_DOF + series)
    moderated = max(scale, LEAST_SCALE)
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


def _beside(
    residual: NDArray[np.float64],
    v: NDArray[np.float64],
    x: NDArray[np.float64],
    t_s: NDArray[np.float64],
    period_s: float,
) -> tuple[float, int]:
    """Mean square of the residual [shape=(n,)], whitened by ``v``, at the frequencies beside that of the switching and
    out of step with it; and over how many series of their own."""
    whole_s = float(t_s[-1] - t_s[0]) + 0.5 * period_s
    aside = np.array([f for k in ASIDE if (f := 1.0 / period_s + k / whole_s) * whole_s >= 1.0])
    turns = 2 * np.pi * np.multiply.outer(t_s, np.append(aside, 1.0 / period_s))
    factor = np.linalg.cholesky(v)
    white = np.linalg.solve(factor, np.column_stack([x, np.cos(turns), np.sin(turns), residual]))
    own, _ = np.linalg.qr(white[:, : x.shape[1]])
    left = white - own @ (own.T @ white)
    kept: list[NDArray[np.float64]] = []
    for series, before in zip(left[:, x.shape[1] : -1].T, white[:, x.shape[1] : -1].T, strict=True):
        alone = series - sum((k * (k @ series) for k in kept), np.zeros_like(series))
        if np.linalg.norm(alone) > LEAST_OWN * np.linalg.norm(before):
            kept.append(alone / np.linalg.norm(alone))
    scores = np.array([k @ left[:, -1] for k in kept])
    return float(scores @ scores) / max(len(kept), 1), len(kept)


def _model_fails(scale: float, dof: int) -> bool:
    """Whether there is more beside the switching than noise and drift can make."""
    from scipy.special import fdtri

    return dof > 0 and scale > float(fdtri(dof, MODEL_DOF, MODEL_FAILS))
