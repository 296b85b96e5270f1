"""Log densities of many normal variates under many covariances at once.

SciPy's triangular solver takes one matrix a call and NumPy has none, so the substitution is written out here: one
step a variable, each over all matrices together. A third of the time of inverses and determinants.
"""

import numpy as np
from numpy.typing import NDArray

RIDGE = 1e-10
"""Part of each variance added to it, so that variables which only ever move together still have a density."""


def log_density(x: NDArray[np.float64], cov: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log density of each ``x`` about zero, less the constant of 2 pi.

    Parameters
    ----------
    x
        S variates of B variables for each matrix [shape=(..., S, B)]; leading dimensions broadcast against ``cov``'s.
    cov
        Covariances, symmetric and positive semidefinite [shape=(..., B, B)].

    Returns
    -------
    ndarray
        Log density [shape=(..., S)].

    Raises
    ------
    numpy.linalg.LinAlgError
        A matrix is not positive semidefinite.
    """
    bands = cov.shape[-1]
    lead = np.broadcast_shapes(x.shape[:-2], cov.shape[:-2])
    factor = np.linalg.cholesky(cov + RIDGE * (cov * np.eye(bands)))
    half_log_det = np.log(np.diagonal(factor, axis1=-2, axis2=-1)).sum(axis=-1)
    row = np.ascontiguousarray(np.moveaxis(factor, (-2, -1), (0, 1)))[:, :, None]  # (B, B, 1, ...)
    z = np.empty((bands, x.shape[-2], *lead))
    z[:] = np.moveaxis(x, (-1, -2), (0, 1)).reshape(bands, x.shape[-2], *(1,) * (len(lead) - x.ndim + 2), *x.shape[:-2])
    for i in range(bands):
        z[i] /= row[i, i]
        z[i + 1 :] -= row[i + 1 :, i] * z[i]
    chi2 = np.moveaxis(np.einsum("bs...,bs...->s...", z, z), 0, -1)
    return np.asarray(-0.5 * chi2 - half_log_det[..., None])
