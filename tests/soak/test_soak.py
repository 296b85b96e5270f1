"""The soak does real work, sees growth and loss where there is some, and says so."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.soak import session as soak
from tests.soak import shop
from tests.soak.pair import SEEN_WITHIN_S, pair
from tests.soak.pair import table as pair_table
from tests.soak.session import table
from tests.soak.shop import day
from tests.soak.shop import table as day_table
from tests.soak.size import Size, flat


def session(memory_mb: float, handles: int, threads: int) -> soak.Soak:
    """Fifty rounds that begin at 100 MB, 10 handles, 3 threads and end as given, with a warm-up before."""
    sizes: list[Size] = []
    for k in range(50):
        share = max(0.0, (k - 10) / 39)
        memory = 60.0 + 4 * k if k < 10 else 100 + share * (memory_mb - 100)
        sizes.append((memory, 10 + round(share * (handles - 10)), 3 + round(share * (threads - 3))))
    return soak.Soak(clips=450, rounds=50, seconds=60.0, sizes=tuple(sizes))


@pytest.mark.parametrize(
    ("end", "well"), [((100, 10, 3), True), ((103, 10, 3), True), ((115, 10, 3), False), ((100, 14, 3), False),
                      ((100, 10, 6), False)]
)  # fmt: skip
def test_growth_after_the_warm_up_is_what_counts(end: tuple[int, int, int], well: bool) -> None:
    found = session(*end)
    assert flat(found.grown) is well
    assert ("NOT FLAT" in table(found)) is not well


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="the bench reads /proc, which only Linux has")
def test_clips_are_recorded_kept_checked_and_judged(tmp_path: Path) -> None:
    found = soak.measure(tmp_path, clips=18, seed=4)
    assert (found.clips, found.rounds) == (18, 2)
    (job,) = tmp_path.glob("[!.]*")  # the register of heads lies beside it
    assert len(list((job / "clips").glob("*.flac"))) == 18
    assert list((job / "parts").iterdir()) == []
    memory_mb, handles, _ = found.sizes[-1]
    assert memory_mb > 50 and handles > 3


@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="the bench reads /proc, which only Linux has")
def test_two_bays_and_a_supervisor_share_a_folder_and_a_lost_clip_is_seen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first minute of a day; then a clip that was acknowledged is taken away."""
    monkeypatch.setattr(shop, "VERIFIED", 0)  # verify has tests of its own
    found = day(tmp_path, seconds=1.0, seed=3)
    assert found.faults == ()
    assert min(found.done[name].get("clip", 0) for name in ("bay one", "bay two")) > 0
    assert "clip" in day_table(found)
    lost = next((tmp_path / "jobs").rglob("*.flac"))
    lost.unlink()
    job = lost.parents[1].name
    assert any("cannot be read" in fault for fault in shop._folder_faults(tmp_path / "jobs", [{"job": job}]))


def test_two_programs_on_one_job_lose_nothing_and_see_each_other(tmp_path: Path) -> None:
    found = pair(tmp_path, seconds=4.0, seed=3)
    assert found.faults == ()
    assert found.events > 12 and found.seen_s[1] > 0.0
    assert "nothing was lost" in pair_table(found) or found.seen_s[1] > SEEN_WITHIN_S  # a busy machine is only slow
