"""Protects the names of a loose round: which files are takes, of what, in which order, and what is refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from listen.errors import RoundError
from listen.rounds.loose import read_folder, takes_named
from listen.rounds.model import Take, Taking
from listen.trade.points import Kind, point_rows


def the_take(path: Path) -> Take:
    (take,) = takes_named(path, Taking())
    return take


POINTS = [row.id + ("-12" if row.numbered else "") for row in point_rows()]


@pytest.mark.parametrize("suffix", [".wav", ".flac", ".WAV", ".Flac"])
@pytest.mark.parametrize("kind", list(Kind))
@pytest.mark.parametrize("point_id", POINTS)
def test_every_point_kind_and_suffix(point_id: str, kind: Kind, suffix: str) -> None:
    """With a number, without one, in capitals."""
    for stem, order in ((f"{point_id}-{kind}", 1), (f"{point_id}-{kind}-7", 7), (f"{point_id}-{kind}-2".upper(), 2)):
        take = the_take(Path(stem + suffix))
        assert (take.point, take.kind, take.order, take.path.name) == (point_id, kind, order, stem + suffix)


@given(st.sampled_from(POINTS), st.sampled_from(list(Kind)), st.integers(0, 9999))
def test_any_number_up_to_four_digits(point_id: str, kind: Kind, n: int) -> None:
    """-N is a number, leading zeros or not."""
    for text in (f"{n}", f"{n:04d}"):
        assert the_take(Path(f"{point_id}-{kind}-{text}.wav")).order == n


@given(st.text(max_size=40))
def test_any_other_name_is_refused_in_one_sentence(stem: str) -> None:
    """Whatever a name holds, the answer is a take or a RoundError of one line."""
    try:
        take = the_take(Path("round") / (stem.replace("/", "-").replace("\0", "-") + ".wav"))
    except RoundError as e:
        assert "\n" not in str(e)
        assert "expected" in str(e) or "known" in str(e)
    else:
        assert take.point


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("exhaust-air-1.wav", "unknown listening point 'exhaust'"),
        ("plug-hole-air-1.wav", "unknown listening point 'plug-hole'"),
        ("plug-hole-0-air-1.wav", "unknown listening point 'plug-hole-0'"),
        ("intake-loud-1.wav", "does not say point and kind"),
        ("intake-air-12345.wav", "does not say point and kind"),
        ("intake-air--1.wav", "does not say point and kind"),
        ("intake air.wav", "does not say point and kind"),
        ("air.wav", "does not say point and kind"),
        ("-air.wav", "does not say point and kind"),
    ],
)
def test_unknown_names_are_told_and_name_what_is_known(tmp_path: Path, name: str, said: str) -> None:
    """A clip is never left out in silence: the round is refused with the file's name."""
    (tmp_path / "intake-quiet-1.wav").touch()
    (tmp_path / name).touch()
    with pytest.raises(RoundError, match=r"expected <point>|known: intake tailpipe") as raised:
        read_folder(tmp_path)
    assert said in str(raised.value)
    assert name in str(raised.value)


def test_hidden_and_other_files_are_no_takes(tmp_path: Path) -> None:
    """Notes, pictures, truth files and hidden files may lie beside the clips."""
    for name in ("intake-quiet.wav", "intake-air.flac", ".intake-air-2.wav", "._tailpipe-air-1.wav", "notes.txt"):
        (tmp_path / name).touch()
    (tmp_path / "truth.json").write_text("{}")
    assert [t.path.name for t in read_folder(tmp_path).takes] == ["intake-quiet.wav", "intake-air.flac"]


def test_takes_stand_in_walking_order_and_time(tmp_path: Path) -> None:
    """Points as walked; numbers in time (10 after 2); quiet before air where numbers are equal."""
    names = [
        "intake-quiet-1.wav",
        "intake-air-1.wav",
        "intake-quiet-2.wav",
        "intake-air-10.wav",
        "tailpipe-quiet-1.wav",
        "plug-hole-2-quiet-1.wav",
        "plug-hole-10-quiet-1.wav",
        "breather-quiet-1.wav",
    ]
    for name in reversed(names):
        (tmp_path / name).touch()
    assert [t.path.name for t in read_folder(tmp_path).takes] == names


def test_the_folder_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Missing, a file, empty, a link that goes round: one sentence each, with the name as given."""
    monkeypatch.chdir(tmp_path)
    Path("file").touch()
    Path("empty").mkdir()
    Path("ring").symlink_to("ring")
    for name, said in (("nowhere", "no such folder"), ("file", "is a file"), ("empty", "no sound files"), ("ring", "")):
        with pytest.raises(RoundError, match=f"^{name}: .*{said}"):
            read_folder(Path(name))
