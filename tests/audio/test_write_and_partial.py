"""What is written comes back exactly, appears whole or not at all, and a torn part gives back all that reached it."""

from __future__ import annotations

import errno
import json
import os
from datetime import UTC, datetime
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from listen.audio.files import read_clip, read_part, sound_info
from listen.audio.headers import PartHeader
from listen.audio.write import PartWriter, finish, write_clip, write_part
from listen.errors import ClipError
from listen.signal.clip import Clip

TAKEN = datetime(2026, 11, 24, 20, 15, tzinfo=UTC)


def steps_of_24_bits(n: int = 4800) -> np.ndarray:
    return (np.random.default_rng(5).integers(-(2**23), 2**23, n) / 2**23).astype(np.float32)


@pytest.mark.parametrize("name", ["a.flac", "a.wav", "A.FLAC"])
def test_24_bits_come_back_exactly_with_their_particulars(tmp_path: Path, name: str) -> None:
    clip = Clip.of(steps_of_24_bits(), 44_100, taken=TAKEN, device='Cart "2" µ', overflows=3)
    write_clip(tmp_path / name, clip)
    back = read_clip(tmp_path / name)
    assert np.array_equal(back.samples, clip.samples)
    assert (back.rate_hz, back.taken, back.device, back.overflows) == (44_100, TAKEN, 'Cart "2" µ', 3)
    assert "PCM_24" in sound_info(tmp_path / name).form
    assert [p.name for p in tmp_path.iterdir()] == [name]


def test_beyond_full_scale_is_held_not_wrapped(tmp_path: Path) -> None:
    write_clip(tmp_path / "a.flac", Clip.of([0.5, 1.0, 7.0, -1.0, -7.0, 0.0], 48_000))
    assert np.allclose(read_clip(tmp_path / "a.flac").samples, [0.5, 1.0, 1.0, -1.0, -1.0, 0.0], atol=2**-22)


def test_finer_samples_are_rounded_to_the_nearest_step(tmp_path: Path) -> None:
    write_clip(tmp_path / "a.flac", Clip.of(np.array([0.6, -0.6, 0.4, 1.5]) / 2**23, 48_000))
    assert (read_clip(tmp_path / "a.flac").samples * 2**23).tolist() == [1.0, -1.0, 0.0, 2.0]


def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(tmp_path: Path, monkeypatch) -> None:  # type: ignore[no-untyped-def]
    write_clip(tmp_path / "a.flac", Clip.of(steps_of_24_bits(), 48_000))
    before = (tmp_path / "a.flac").read_bytes()

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OSError, match="No space left"):
        write_clip(tmp_path / "a.flac", Clip.of([0.1, 0.2], 48_000))
    assert (tmp_path / "a.flac").read_bytes() == before
    assert len(list(tmp_path.iterdir())) == 1


def test_other_suffixes_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ClipError, match=r"written as \.flac or \.wav"):
        write_clip(tmp_path / "a.mp3", Clip.of([0.1], 48_000))


def a_part(path: Path, blocks: int = 30, *, closed: bool = False) -> np.ndarray:
    """A part as a crash leaves it (or closed in good order); returns its samples [shape=(blocks*480,)]."""
    x = steps_of_24_bits(blocks * 480)
    writer = PartWriter(path, PartHeader(48_000, "vmic", TAKEN))
    for k in range(blocks):
        writer.write(x[k * 480 : (k + 1) * 480], overflows=k // 10)
    if closed:
        writer.__exit__(None, None, None)
    return x


@settings(max_examples=60, deadline=None)
@given(cut=st.integers(0, PartHeader.BYTES + 30 * 480 * 4 + 4))
def test_a_part_torn_anywhere_gives_what_is_whole(tmp_path_factory: pytest.TempPathFactory, cut: int) -> None:
    path = tmp_path_factory.mktemp("torn") / "a.part"
    x = a_part(path)
    path.write_bytes(path.read_bytes()[:cut])
    whole = (cut - PartHeader.BYTES) // 4
    if whole < 1:
        with pytest.raises(ClipError, match=r"a\.part: (no sound had arrived|not an unfinished clip)"):
            read_part(path)
    else:
        assert np.array_equal(read_part(path).samples, x[:whole])


def test_a_tail_of_zeros_or_rubbish_from_a_power_cut_goes(tmp_path: Path) -> None:
    x = a_part(tmp_path / "a.part")
    with (tmp_path / "a.part").open("ab") as file:
        file.write(bytes(4096))
    assert np.array_equal(read_part(tmp_path / "a.part").samples, x)
    with (tmp_path / "a.part").open("ab") as file:
        file.write(np.full(100, np.nan, "<f4").tobytes())
    assert np.array_equal(read_part(tmp_path / "a.part").samples, x)


def test_a_take_that_ended_in_order_keeps_its_zeros(tmp_path: Path) -> None:
    with PartWriter(tmp_path / "a.part", PartHeader(48_000, "vmic", TAKEN)) as writer:
        writer.write(np.array([0.5, 0.25, 0.0, 0.0], np.float32), 0)
    assert read_part(tmp_path / "a.part").samples.tolist() == [0.5, 0.25, 0.0, 0.0]


def test_a_take_that_ended_in_order_and_lost_its_tail_to_a_power_cut_is_cut_where_sound_ends(tmp_path: Path) -> None:
    """The header is on the disk and says 480, of the samples only some are: what was filled in goes."""
    with PartWriter(tmp_path / "a.part", PartHeader(48_000, "vmic", TAKEN)) as writer:
        writer.write(np.full(480, 0.5, np.float32), 0)
    whole = (tmp_path / "a.part").read_bytes()
    (tmp_path / "a.part").write_bytes(whole[: PartHeader.BYTES + 4 * 100] + bytes(4 * 200))
    assert read_part(tmp_path / "a.part").samples.tolist() == [0.5] * 100


@pytest.mark.parametrize(("name", "mark"), [("intake-air.flac", b"fLaC"), ("intake-air.wav", b"RIFF")])
def test_finishing_makes_a_named_clip_and_takes_the_part_away(tmp_path: Path, name: str, mark: bytes) -> None:
    x = a_part(tmp_path / "a.part", closed=True)
    clip = finish(tmp_path / "a.part", tmp_path / name)
    assert (tmp_path / name).read_bytes().startswith(mark)
    back = read_clip(tmp_path / name)
    assert np.array_equal(clip.samples, x)
    assert np.array_equal(back.samples, x)
    assert (back.device, back.overflows, back.taken) == ("vmic", 2, TAKEN)
    assert [p.name for p in tmp_path.iterdir()] == [name]


def test_a_part_outlives_a_disk_that_fills_while_it_is_finished(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    x = a_part(tmp_path / "a.part", closed=True)

    def full(path: Path, clip: Clip) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("listen.audio.write.write_clip", full)
    with pytest.raises(OSError, match="No space left"):
        finish(tmp_path / "a.part", tmp_path / "intake-air.flac")
    assert np.array_equal(read_part(tmp_path / "a.part").samples, x)


def test_at_most_half_a_second_is_ever_not_on_the_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, synced = tmp_path / "a.part", [0]

    def fsync(handle: int) -> None:
        synced.append(path.stat().st_size)

    monkeypatch.setattr("os.fsync", fsync)
    now = [0.0]
    monkeypatch.setattr("listen.audio.write.time", SimpleNamespace(monotonic=lambda: now[0]))
    writer = PartWriter(path, PartHeader(48_000, "vmic", TAKEN))
    assert synced[-1] >= PartHeader.BYTES
    for block in np.split(steps_of_24_bits(48_000 * 3), 300):
        now[0] += 0.01
        writer.write(block, 0)
        assert path.stat().st_size - synced[-1] <= 4 * 48_000 * 0.5
    writer.__exit__(None, None, None)
    assert synced[-1] == path.stat().st_size


def test_when_a_take_has_ended_all_of_it_is_on_the_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its sound and the header that tells its length: the last sync finds the file as it stays."""
    synced: list[bytes] = []
    sync = os.fsync

    def kept(fd: int) -> None:
        synced.append((tmp_path / "a.part").read_bytes())
        sync(fd)

    monkeypatch.setattr(os, "fsync", kept)
    with PartWriter(tmp_path / "a.part", PartHeader(48_000, "vmic", TAKEN)) as writer:
        writer.write(np.full(480, 0.5, np.float32), 0)
    assert synced[-1] == (tmp_path / "a.part").read_bytes()
    assert json.loads(synced[-1][: PartHeader.BYTES])["frames"] == 480


def test_a_sync_that_failed_beside_the_last_blocks_is_told_at_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A later sync of the same file succeeds though what the failed one should have kept is gone."""
    sync, fails = os.fsync, iter([False, False, True])  # the header, the folder, then the one beside the take

    def failing(fd: int) -> None:
        if next(fails, False):
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        sync(fd)

    monkeypatch.setattr(os, "fsync", failing)
    with (
        pytest.raises(OSError, match=os.strerror(errno.EIO)),
        PartWriter(tmp_path / "a.part", PartHeader(48_000, "vmic", TAKEN)) as writer,
    ):
        writer.write(np.full(48_000, 0.5, np.float32), 0)


def test_a_clip_brought_in_on_a_full_disk_leaves_no_part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Else it is offered as a take left over, though the file it came from is still there."""

    def full(self: PartWriter, block: np.ndarray, overflows: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(PartWriter, "write", full)
    with pytest.raises(OSError, match=os.strerror(errno.ENOSPC)):
        write_part(tmp_path / "a.part", Clip.of([0.5, 0.25], 48_000))
    assert list(tmp_path.iterdir()) == []


def test_a_part_never_replaces_another(tmp_path: Path) -> None:
    a_part(tmp_path / "a.part")
    with pytest.raises(FileExistsError):
        PartWriter(tmp_path / "a.part", PartHeader(48_000, "vmic", TAKEN))


@pytest.mark.parametrize("header", [b"", b"RIFF", b"{}", b'{"schema": "hissway.part/2"}', b"[1, 2]", b"\xff" * 600])
def test_what_is_no_part_is_refused(tmp_path: Path, header: bytes) -> None:
    (tmp_path / "a.part").write_bytes(header.ljust(PartHeader.BYTES) + bytes(40))
    with pytest.raises(ClipError, match="not an unfinished clip"):
        read_part(tmp_path / "a.part")


@pytest.mark.parametrize("device", ["ü" * 900, "\x1b" * 150, '"' * 300, "Gerät \udce4", "🎤" * 99])
def test_the_header_is_one_line_of_one_sector_whatever_the_device_is_called(tmp_path: Path, device: str) -> None:
    """Control characters take six bytes each: such a name once pushed the samples from their place."""
    header = PartHeader(192_000, device, TAKEN, 10**6, 10**9)
    said = header.encode()
    assert len(said) == PartHeader.BYTES and said.endswith(b"\n")
    assert json.loads(said)["rate_hz"] == 192_000
    with PartWriter(tmp_path / "a.part", header) as writer:
        writer.write(np.full(4, 0.5, np.float32), 0)
    read = read_part(tmp_path / "a.part")
    assert read.samples.tolist() == [0.5] * 4
    assert device.encode("utf-8", "replace").decode().startswith(read.device) and read.device


@pytest.mark.parametrize("overflows", ["1e999", "-1", "NaN", "[]"])
def test_a_count_that_cannot_be_is_not_believed(tmp_path: Path, overflows: str) -> None:
    """In a sound file's comment it is passed over; a part with one is no part."""
    with soundfile.SoundFile(tmp_path / "a.wav", "w", 48_000, 1, "PCM_24") as file:
        file.comment = f'{{"overflows": {overflows}}}'
        file.write(steps_of_24_bits())
    assert read_clip(tmp_path / "a.wav").overflows == 0
    for key in ("overflows", "frames", "rate_hz"):
        said = json.loads(PartHeader(48_000, "mic", TAKEN, frames=4).encode()) | {key: "HERE"}
        header = json.dumps(said).replace('"HERE"', overflows).encode().ljust(PartHeader.BYTES - 1) + b"\n"
        (tmp_path / "a.part").write_bytes(header + np.ones(4, "<f4").tobytes())
        with pytest.raises(ClipError, match="not an unfinished clip"):
            read_part(tmp_path / "a.part")
