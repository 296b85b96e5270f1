"""The ear threshold's own accuracy: ``python -m tests.lab.threshold_table [RUNS]`` prints scatter, bias and coverage.

Beside the scatter stands what no procedure of as many trials can beat without a bias: the bound of Cramer and Rao, each
trial played where it tells most.
"""

from __future__ import annotations

import sys

import numpy as np

from listen.lab.ear.adaptive import INTERVALS, TRIALS
from tests.lab.test_threshold import runs


def bound_db(spread_db: float, lapse: float) -> float:
    """Least standard deviation of an unbiased threshold, dB."""
    g, rise = 1.0 / INTERVALS, np.linspace(0.01, 0.999, 2000)
    p = g + (1.0 - g) * (1.0 - lapse) * rise
    slope = (1.0 - g) * (1.0 - lapse) * rise * (1.0 - rise) / spread_db
    return float(1.0 / np.sqrt(TRIALS * (slope**2 / (p * (1.0 - p))).max()))


def main() -> int:
    """Print the table."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    print(f"{TRIALS} trials of {INTERVALS} intervals, {count} runs each; truth -9 dB")
    print("slope   lapses   scatter   bound    bias   interval holds   repeat runs differ > 2 dB")
    for spread_db in (1.0, 1.3, 2.0, 2.5):
        for lapse in (0.0, 0.05, 0.1):
            found = runs(-9.0, spread_db, lapse, count)
            error = np.array([t.threshold_db + 9.0 for t in found])
            held = np.mean([t.low95_db <= -9.0 <= t.high95_db for t in found])
            apart = np.mean(np.abs(error[::2] - error[1::2]) > 2.0)
            print(
                f"{spread_db:3.1f} dB {100 * lapse:6.0f} % {error.std():6.2f} dB {bound_db(spread_db, lapse):5.2f} dB "
                f"{error.mean():+5.2f} dB {100 * held:10.0f} % {100 * apart:18.0f} %",
                flush=True,
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
