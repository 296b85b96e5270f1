"""Quantiles of a mixture of Student t distributions: what an unknown drift makes of an interval."""

import numpy as np
from numpy.typing import NDArray

STEPS = 40
"""Halvings of the bracket: a relative width of 1e-12."""


def upper_quantile(p: float, scale: NDArray[np.float64], weight: NDArray[np.float64], dof: float) -> float:
    """Value exceeded with probability ``p`` by a t variate of ``dof`` degrees whose scale is drawn by ``weight``.

    ``scale`` and ``weight`` have shape (G,).
    """
    from scipy.special import stdtr

    low, high = 0.0, 1e4 * float(scale.max())
    for _ in range(STEPS):
        mid = 0.5 * (low + high)
        if float(weight @ stdtr(dof, -mid / scale)) > p:
            low = mid
        else:
            high = mid
    return 0.5 * (low + high)
