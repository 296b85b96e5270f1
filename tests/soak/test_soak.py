"""The soak bench does real work, sees growth where there is some, and says so."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.soak import session as soak
from tests.soak.session import Sample, table


def session(memory_mb: float, handles: int, threads: int) -> soak.Soak:
    """Fifty rounds that begin at 100 MB, 10 handles, 3 threads and end as given, with a warm-up before."""
    samples = []
    for k in range(50):
        share = max(0.0, (k - 10) / 39)
        samples.append(
            Sample(
                clips=9 * k,
                memory_mb=60.0 + 4 * k if k < 10 else 100 + share * (memory_mb - 100),
                handles=10 + round(share * (handles - 10)),
                threads=3 + round(share * (threads - 3)),
            )
        )
    return soak._summed_up(450, 50, 60.0, samples)


@pytest.mark.parametrize(
    ("end", "flat"), [((100, 10, 3), True), ((103, 10, 3), True), ((115, 10, 3), False), ((100, 14, 3), False),
                      ((100, 10, 6), False)]
)  # fmt: skip
def test_growth_after_the_warm_up_is_what_counts(end: tuple[int, int, int], flat: bool) -> None:
    found = session(*end)
    assert found.flat is flat
    assert ("NOT FLAT" in table(found)) is not flat


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="the bench reads /proc, which only Linux has")
def test_clips_are_recorded_kept_checked_and_judged(tmp_path: Path) -> None:
    found = soak.measure(tmp_path, clips=18, seed=4)
    assert (found.clips, found.rounds) == (18, 2)
    (job,) = tmp_path.glob("[!.]*")  # the register of heads lies beside it
    assert len(list((job / "clips").glob("*.flac"))) == 18
    assert list((job / "parts").iterdir()) == []
    assert found.samples[-1].memory_mb > 50
    assert found.samples[-1].handles > 3
