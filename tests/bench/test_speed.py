"""The speed bench times real work by every contender, and its table says whether the bar is met."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from listen.bench.speed import CONTENDERS, _memory_over, make_archive, resident_mb, sound_files, table


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    return make_archive(tmp_path_factory.mktemp("archive"), rounds=2, seed=3)


def test_an_archive_has_the_rounds_asked_for_and_the_usual_clips(archive: list[Path]) -> None:
    assert len(archive) == 2
    assert [len(sound_files(f)) for f in archive] == [12, 12]
    assert (
        archive[0].joinpath("intake-air-1.flac").read_bytes() != archive[1].joinpath("intake-air-1.flac").read_bytes()
    )


def test_the_same_seed_makes_the_same_archive(archive: list[Path], tmp_path: Path) -> None:
    again = make_archive(tmp_path, rounds=1, seed=3)
    for a, b in zip(sound_files(archive[0]), sound_files(again[0]), strict=True):
        assert a.read_bytes() == b.read_bytes()


@pytest.mark.parametrize("contender", CONTENDERS, ids=lambda c: c.name)
def test_every_contender_reads_the_clips_and_gives_a_number(contender: object, archive: list[Path]) -> None:
    numbers = [contender.run(folder) for folder in archive]  # type: ignore[attr-defined]
    assert np.isfinite(numbers).all()
    assert contender.run(archive[0]) == numbers[0]  # type: ignore[attr-defined]


def test_memory_is_measured_in_megabytes_and_judging_keeps_little(archive: list[Path]) -> None:
    assert 20 < resident_mb() < 2_000
    warm, end = _memory_over(archive * 4)
    assert end < warm * 1.05 + 5


@pytest.mark.parametrize(("ratio", "word"), [(2.9, "met"), (3.1, "missed")])
def test_the_table_names_the_bar(ratio: float, word: str) -> None:
    bar = CONTENDERS[1].bar
    text = table(
        {
            "rounds": 9,
            "clips_a_round": 12,
            "timings": [
                {"name": "limit", "seconds_a_round": 0.1, "times_limit": 1.0, "bar": None},
                {"name": "hissway rank", "seconds_a_round": 0.1 * ratio, "times_limit": ratio, "bar": bar},
            ],
            "workers": 2,
            "seconds_over_workers": 0.05 * ratio,
            "speed_up": 2.0,
            "memory_mb": (90.0, 91.0),
        }
    )
    assert f"bar of hissway rank: at most 3.0 x limit; {word}" in text
    assert CONTENDERS[2].bar == 2.0  # without the range over assumptions
    assert "12 clips" in text
