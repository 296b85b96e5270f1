"""A round from a phone: five kinds of file are heard, named in a list and come in; a long one is cut at marks."""

from __future__ import annotations

import os
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile
from bay import bench, to_quiet_walk, type_text, until, words
from textual.pilot import Pilot

from listen.audio.files import read_clip
from listen.audio.when import in_order, time_in_file, time_in_name
from listen.audio.write import write_clip
from listen.jobs.bring_in import Recording, cut, in_walking_order, recordings_in, stretch
from listen.signal.clip import Clip
from tui.app import HisswayApp
from tui.screens.naming.cut import CutScreen
from tui.screens.naming.screen import NamingScreen
from tui.screens.round.screen import RoundScreen
from tui.widgets.level_meter import LevelStrip

RATE_HZ = 48_000
NOON = 1_780_000_000
"""Some noon; each recording is a minute after the one before."""
FORMS = {"memo.mp3": ("MP3", "MPEG_LAYER_III"), "memo.ogg": ("OGG", "VORBIS"), "memo.opus": ("OGG", "OPUS")}


def hiss(seed: int, seconds: float = 1.0, level: float = 0.02) -> np.ndarray:
    return (level * np.random.default_rng(seed).standard_normal(round(seconds * RATE_HZ))).astype(np.float32)


def in_aac(path: Path, x: np.ndarray, created: str = "") -> None:
    av = pytest.importorskip("av")
    with av.open(str(path), "w") as container:
        if created:
            container.metadata["creation_time"] = created
        stream = container.add_stream("aac", rate=RATE_HZ)
        stream.layout = "mono"
        frame = av.AudioFrame.from_ndarray(x[None, :], format="fltp", layout="mono")
        frame.rate, frame.time_base, frame.pts = RATE_HZ, Fraction(1, RATE_HZ), 0
        for packet in [*stream.encode(frame), *stream.encode(None)]:
            container.mux(packet)


def phone(folder: Path) -> Path:
    """Five recordings whose names say nothing, taken one after the other: the first by name is the last in time."""
    folder.mkdir()
    in_aac(folder / "memo 9.m4a", hiss(0))
    for n, (name, (form, subtype)) in enumerate(FORMS.items(), 1):
        soundfile.write(folder / name, hiss(n), RATE_HZ, format=form, subtype=subtype)
    soundfile.write(folder / "a last one.wav", hiss(4), RATE_HZ, subtype="PCM_16")
    order = ["memo 9.m4a", *FORMS, "a last one.wav"]
    for n, name in enumerate(order):
        os.utime(folder / name, (NOON + 60 * n, NOON + 60 * n))
    return folder


async def to_naming(pilot: Pilot, place: Path) -> tuple[RoundScreen, NamingScreen]:
    screen = await to_quiet_walk(pilot)
    await pilot.press("i")
    await until(pilot, lambda: bool(pilot.app.screen.query("#line")))
    await type_text(pilot, str(place))
    await until(pilot, lambda: isinstance(pilot.app.screen, NamingScreen))
    assert isinstance(pilot.app.screen, NamingScreen)
    return screen, pilot.app.screen


def kept(app: HisswayApp, screen: RoundScreen) -> dict[str, tuple[str, str]]:
    return {c.kept.imported_from: (c.kept.point, c.kept.walk) for c in screen.record.live_clips()}


async def test_five_kinds_of_file_are_named_by_keys_and_become_a_round(tmp_path: Path) -> None:
    pytest.importorskip("av")
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen, naming = await to_naming(pilot, phone(tmp_path / "phone"))
        assert [r.path.name for r in naming.recordings] == ["memo 9.m4a", *FORMS, "a last one.wav"]
        assert "as they lie on the disk" in words(app)
        await pilot.press("space")
        await until(pilot, lambda: [name for name, _ in app.services.fake_player.played] == ["memo 9.m4a"])
        await pilot.press("enter")
        await until(pilot, lambda: "None is named yet" in words(app))
        await pilot.press("1", "down", "2", "down", "1", "o", "down", "2", "o", "down", "1")
        await until(pilot, lambda: "intake, air on" in words(app) and "tailpipe, air on" in words(app))
        await pilot.press("enter")
        await until(pilot, lambda: len(kept(app, screen)) == 5)
        assert kept(app, screen) == {
            "memo 9.m4a": ("intake", "quiet"),
            "memo.mp3": ("tailpipe", "quiet"),
            "memo.ogg": ("intake", "air"),
            "memo.opus": ("tailpipe", "air"),
            "a last one.wav": ("intake", "closing"),
        }
        await until(pilot, lambda: "5 clips imported" in words(app))
        clips = {c.kept.imported_from: read_clip(app.open_job.clip_path(c.id)) for c in screen.record.live_clips()}
        coded = [clips[name].coded for name in ("memo 9.m4a", *FORMS, "a last one.wav")]
        assert coded == ["AAC", "MP3", "Vorbis", "Opus", ""]


async def test_w_names_them_as_a_round_is_walked_and_what_is_left_out_stays_out(tmp_path: Path) -> None:
    pytest.importorskip("av")
    app = bench(tmp_path)
    async with app.run_test(size=(100, 30)) as pilot:
        screen, naming = await to_naming(pilot, phone(tmp_path / "phone"))
        await pilot.press("down", "backspace", "w")
        named = [(r.point, str(r.kind)) for r in naming.recordings]
        assert named[0] == ("", "quiet") and named[1:4] == [
            ("intake", "quiet"), ("tailpipe", "quiet"), ("oil-filler", "quiet")
        ]  # fmt: skip
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is naming and "Esc again drops it" in words(app))
        await pilot.press("enter")
        await until(pilot, lambda: len(kept(app, screen)) == 4)
        assert "memo 9.m4a" not in kept(app, screen)


async def test_a_long_recording_is_cut_at_marks(tmp_path: Path) -> None:
    """Two points in one file, the microphone carried over in between; the pieces hold neither hand nor each other."""
    walk = np.concatenate([hiss(1, 5.0, 0.01), hiss(2, 1.0, 0.3), hiss(3, 25.0, 0.04)])
    write_clip(tmp_path / "walk.flac", Clip.of(walk, RATE_HZ))
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen, naming = await to_naming(pilot, tmp_path / "walk.flac")
        assert (naming.recordings[0].point, naming.recordings[0].kind) == ("intake", "quiet"), "what is due"
        await pilot.press("c")
        await until(pilot, lambda: isinstance(app.screen, CutScreen) and bool(app.screen.query_one(LevelStrip).levels))
        course = app.screen.query_one(LevelStrip).levels
        assert course.index(max(course)) in range(64, 78), "the hand is the loudest"
        await pilot.press(*["right"] * 5, "m", "right", "m", "right", "m", "backspace")
        await until(pilot, lambda: "2 marks, 2 pieces" in words(app))
        await pilot.press("space")
        await until(pilot, lambda: bool(app.services.fake_player.played))
        await pilot.press("enter")
        await until(pilot, lambda: app.screen is naming and len(naming.recordings) == 2)
        await pilot.press("1", "down", "2", "enter")
        await until(pilot, lambda: len(screen.record.live_clips()) == 2)
        first, second = (read_clip(app.open_job.clip_path(c.id)) for c in screen.record.live_clips())
        assert [c.kept.point for c in screen.record.live_clips()] == ["intake", "tailpipe"]
        assert first.seconds == pytest.approx(4.7) and second.seconds == pytest.approx(24.7)
        assert np.std(first.samples) == pytest.approx(0.01, rel=0.02)
        assert np.std(second.samples) == pytest.approx(0.04, rel=0.02)


async def test_marks_on_a_long_recording_are_dropped_only_by_a_second_esc(tmp_path: Path) -> None:
    """Setting marks takes the length of the recording; one slip of a key must not cost them."""
    write_clip(tmp_path / "walk.flac", Clip.of(hiss(1, 31.0), RATE_HZ))
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        _, naming = await to_naming(pilot, tmp_path / "walk.flac")
        await pilot.press("c")
        await until(pilot, lambda: isinstance(app.screen, CutScreen))
        await pilot.press("down", "m", "escape")
        await until(pilot, lambda: "Esc again drops the marks" in words(app))
        assert "1 mark, 2 pieces" in words(app) and isinstance(app.screen, CutScreen)
        await pilot.press("right", "m", "escape")
        assert isinstance(app.screen, CutScreen), "another mark is asked about anew"
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is naming)
        assert len(naming.recordings) == 1
        await pilot.press("c")
        await until(pilot, lambda: isinstance(app.screen, CutScreen))
        await pilot.press("escape")
        await until(pilot, lambda: app.screen is naming)  # nothing to drop, nothing to ask


async def test_files_named_as_a_loose_round_come_in_without_a_question(tmp_path: Path) -> None:
    (tmp_path / "named").mkdir()
    for n, name in enumerate(("intake-quiet-1", "intake-air-1")):
        write_clip(tmp_path / "named" / f"{name}.flac", Clip.of(hiss(n), RATE_HZ))
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_quiet_walk(pilot)
        await pilot.press("i")
        await until(pilot, lambda: bool(app.screen.query("#line")))
        await type_text(pilot, str(tmp_path / "named"))
        await until(pilot, lambda: len(kept(app, screen)) == 2)
        assert app.screen is screen


def test_times_inside_the_files_order_them_and_two_sorts_of_time_do_not_mix(tmp_path: Path) -> None:
    pytest.importorskip("av")
    in_aac(tmp_path / "b.m4a", hiss(0), "2026-03-05T10:00:00.000000Z")
    in_aac(tmp_path / "a.m4a", hiss(1), "2026-03-05T10:01:00.000000Z")
    words_, pairs = in_order(sorted(tmp_path.iterdir()))
    assert words_ == "as the files say" and [p.name for p, _ in pairs] == ["b.m4a", "a.m4a"]
    soundfile.write(tmp_path / "c.wav", hiss(2), RATE_HZ)  # tells no time
    assert time_in_file(tmp_path / "c.wav") is None
    words_, _ = in_order(sorted(tmp_path.iterdir()))
    assert words_ == "as they lie on the disk"


def test_a_broadcast_wave_and_names_tell_their_time(tmp_path: Path) -> None:
    soundfile.write(tmp_path / "x.wav", hiss(0), RATE_HZ, subtype="PCM_16")
    data = (tmp_path / "x.wav").read_bytes()
    bext = bytes(320) + b"2026-03-0510:02:03" + bytes(264)
    (tmp_path / "x.wav").write_bytes(data[:12] + b"bext" + len(bext).to_bytes(4, "little") + bext + data[12:])
    assert str(time_in_file(tmp_path / "x.wav")) == "2026-03-05 10:02:03"
    assert str(time_in_name(Path("REC_20260305-100203.wav"))) == "2026-03-05 10:02:03"
    assert str(time_in_name(Path("2026-03-05 10.02.wav"))) == "2026-03-05 10:02:00"
    assert time_in_name(Path("20269935-100203.wav")) is None and time_in_name(Path("Recording 12.wav")) is None


def test_without_any_time_names_count_as_people_count(tmp_path: Path) -> None:
    for n in (10, 9, 1):
        path = tmp_path / f"Recording {n}.wav"
        soundfile.write(path, hiss(n, 0.1), RATE_HZ)
        os.utime(path, (NOON, NOON))
    assert [r.path.stem for r in recordings_in(tmp_path).recordings] == ["Recording 1", "Recording 9", "Recording 10"]


def test_what_cannot_be_read_is_listed_with_its_reason_and_named_by_nothing(tmp_path: Path) -> None:
    (tmp_path / "broken.m4a").write_bytes(b"no sound")
    soundfile.write(tmp_path / "good.wav", hiss(1), RATE_HZ)
    found = recordings_in(tmp_path)
    trouble = {r.path.name: bool(r.trouble) for r in found.recordings}
    assert trouble == {"broken.m4a": True, "good.wav": False}
    named = in_walking_order(found.recordings, 0, ["intake"])
    assert {r.path.name: r.point for r in named} == {"broken.m4a": "", "good.wav": "intake"}


def test_what_is_played_is_the_channel_that_comes_in(tmp_path: Path) -> None:
    x = hiss(1, 2.0)
    soundfile.write(tmp_path / "x.wav", np.stack([0 * x, x], 1), RATE_HZ, subtype="FLOAT")
    (piece,) = cut(Recording(tmp_path / "x.wav", 2.0, point="intake"), (0.4,))
    assert np.array_equal(stretch(piece, 0.1, 0.5).samples, x[round(0.8 * RATE_HZ) : round(1.3 * RATE_HZ)])


def test_marks_beyond_the_ends_and_pieces_too_short_are_none() -> None:
    whole = Recording(Path("x.wav"), 10.0)
    assert cut(whole, ()) == (whole,) == cut(whole, (-1.0, 10.0, 99.0))
    assert [(r.start_s, round(r.seconds, 1)) for r in cut(whole, (4.0, 4.5))] == [(0.0, 3.7), (4.8, 5.2)]
