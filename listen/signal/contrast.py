"""Two groups of takes at one point, with air and without, as one log ratio per band with its uncertainty; and the level
of the hiss with the background taken out.

Symbols: B bands, rho = ln(P_air / P_quiet) per band. Ratios are of mean powers, signed, never clipped; the same is
formed from the floors of both. What the drift adds is kept apart, so that it can be mixed over its unknown size.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from listen.signal.drift import Repeat
from listen.signal.take import TakeBands

BETWEEN_TAKES = 0.05**2
"""Variance (nepers squared, about 0.2 dB) added when takes are weighted, so that one long take does not stand alone."""


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Takes of one kind at one point, pooled."""

    mean: NDArray[np.float64]
    """Mean power per band [shape=(B,)]."""
    cov: NDArray[np.float64]
    """Covariance of its log [shape=(B, B)]."""
    floor: NDArray[np.float64]
    """Floor power per band, bias not removed [shape=(B,)]."""
    floor_cov: NDArray[np.float64]
    """Covariance of its log [shape=(B, B)]."""
    spread: float
    """Sum of squared weights of the takes: what part of one take's drift variance is left in the mean."""
    dof: float
    """Degrees of freedom behind ``cov``."""

    def only(self, bands: NDArray[np.bool_]) -> Group:
        """The same group with the marked ``bands`` [shape=(B,)] alone."""
        sub = np.ix_(bands, bands)
        return Group(self.mean[bands], self.cov[sub], self.floor[bands], self.floor_cov[sub], self.spread, self.dof)


@dataclass(frozen=True, slots=True, eq=False)
class Contrast:
    """Air group against quiet group."""

    quiet: Group
    air: Group
    silent: NDArray[np.float64] | None = None
    """Of a switched take: covariance of ``rho`` were there no hiss [shape=(B, B)]. Its floors are its means."""

    def only(self, bands: NDArray[np.bool_]) -> Contrast:
        """The same contrast with the marked ``bands`` [shape=(B,)] alone."""
        sub = np.ix_(bands, bands)
        silent = None if self.silent is None else self.silent[sub]
        return Contrast(self.quiet.only(bands), self.air.only(bands), silent)

    @property
    def rho(self) -> NDArray[np.float64]:
        """Log ratio of mean powers [shape=(B,)]."""
        return np.asarray(np.log(self.air.mean / self.quiet.mean))

    @property
    def rho_floor(self) -> NDArray[np.float64]:
        """Log ratio of floors [shape=(B,)]; their biases cancel."""
        return np.asarray(np.log(self.air.floor / self.quiet.floor))

    @property
    def drift_share(self) -> NDArray[np.float64]:
        """By how much one take's drift covariance counts in that of ``rho`` [shape=(B, B)].

        Drift moves the background only: in the air group it is diluted by the hiss.
        """
        # Held at one: an air clip that happens to be softer is all background, not more.
        background = np.minimum(1.0, np.exp(-self.rho))
        return np.asarray(self.quiet.spread + self.air.spread * np.outer(background, background))


def pool(takes: Sequence[TakeBands]) -> Group:
    """Pool takes of any number and length; their order does not matter."""
    # One weight a take, the same for all bands: weights by band would bend the spectrum that paths are told by.
    weight = np.array([1.0 / (np.diag(t.cov).mean() + BETWEEN_TAKES) for t in takes])
    weight /= weight.sum()
    mean = sum(w * t.mean for w, t in zip(weight, takes, strict=True))
    floor = sum(w * t.floor for w, t in zip(weight, takes, strict=True))
    # sum() begins at the number nought, which a type checker cannot rule out.
    assert isinstance(mean, np.ndarray) and isinstance(floor, np.ndarray)
    return Group(
        mean,
        _log_cov([w * t.mean / mean for w, t in zip(weight, takes, strict=True)], [t.cov for t in takes]),
        floor,
        _log_cov([w * t.floor / floor for w, t in zip(weight, takes, strict=True)], [t.floor_cov for t in takes]),
        float((weight**2).sum()),
        float(sum(t.dof for t in takes)),
    )


def _log_cov(shares: Sequence[NDArray[np.float64]], covs: Sequence[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Covariance of the log of a sum, from each summand's share of it and the covariance of its log."""
    return np.asarray(sum(np.outer(s, s) * c for s, c in zip(shares, covs, strict=True)))


def repeats(takes: Sequence[TakeBands], live: NDArray[np.bool_], floors: bool = False) -> list[Repeat]:
    """Each take against the mean of those before it: independent repeats, whatever their number. ``live``
    [shape=(13,)] says which bands the takes hold.
    """
    logs = [np.log(t.floor if floors else t.mean) for t in takes]
    covs = [t.floor_cov if floors else t.cov for t in takes]
    return [
        # One's own scatter and that of a mean of j: of the drift 1 + 1/j is left.
        Repeat(logs[j] - np.mean(logs[:j], axis=0), covs[j] + np.sum(covs[:j], axis=0) / j**2, 1.0 + 1.0 / j, live)
        for j in range(1, len(takes))
    ]


LEAST_DELTA_DB = 3.0
"""Below this difference the correction is not carried further: the level is an upper bound (ISO 3746)."""
NO_CORRECTION_DB = 15.0
"""Above it none is needed (ISO 3744)."""


@dataclass(frozen=True, slots=True)
class HissLevel:
    """Level of the hiss alone over the live bands."""

    level_db: float
    """dB re full scale, or dB SPL after calibration."""
    is_upper_bound: bool
    """True where most of it comes from bands less than 3 dB above quiet."""


def correction_db(delta_db: NDArray[np.float64]) -> NDArray[np.float64]:
    """K1 = -10 lg(1 - 10^(-Delta/10)) for each Delta = L_air - L_quiet [shape=(B,)] (ISO 3744, ISO 3746, ISO 11202),
    held at its 3 dB value below that."""
    # Held at 3 dB: nearer to nought an error of the difference is magnified without end.
    delta = np.maximum(delta_db, LEAST_DELTA_DB)
    k1 = -10.0 * np.log10(1.0 - 10.0 ** (-0.1 * delta))
    return np.asarray(np.where(delta > NO_CORRECTION_DB, 0.0, k1))


def hiss_level(contrast: Contrast, calibration_db: float = 0.0) -> HissLevel:
    """Background-corrected level of the air group; ``calibration_db`` turns dBFS into dB SPL."""
    delta = 10.0 * np.log10(contrast.air.mean / contrast.quiet.mean)
    # By band, then summed: a hiss of few bands would be corrected away with the mean of all.
    power = contrast.air.mean * 10.0 ** (-0.1 * correction_db(delta))
    # Half of the power decides: what is an upper bound in a few faint bands is no upper bound in all.
    bound = power[delta < LEAST_DELTA_DB].sum() > 0.5 * power.sum()
    return HissLevel(float(10.0 * np.log10(power.sum())) + calibration_db, bool(bound))
