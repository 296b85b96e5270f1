"""Protects photos: kept in the journal, upright, small, without what a camera writes; no file can crash or fill it."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image

from listen.errors import HisswayError
from listen.jobs.events import PhotoTakenBack
from listen.jobs.exchange.pack import pack
from listen.jobs.exchange.unpack import unpack
from listen.jobs.folder.store import create_job, open_job
from listen.jobs.photo import KEPT_BYTES, SIDE_PIXELS, decoded, photo_event


def picture(path: Path, size: tuple[int, int] = (3000, 2000), **more: object) -> Path:
    """Noise, which packs worst."""
    noise = Image.effect_noise(size, 90).convert("RGB")
    noise.save(path, **more)
    return path


@pytest.mark.parametrize("name", ["plug.jpg", "plug.png", "plug.webp"])
def test_a_photo_is_reduced_and_comes_back_from_disk_and_from_a_bag(tmp_path: Path, name: str) -> None:
    file = picture(tmp_path / name, (3000, 2000) if name == "plug.jpg" else (1500, 1000))
    with create_job(tmp_path / "jobs", title="Pump") as opened:
        opened.append(photo_event(file, cylinder=3, of="plug", text="oily"))
        (kept,) = opened.job.photos
        folder = opened.folder
    # Of more pixels the grain is averaged away; of fewer it is too large at any quality, and the picture gets smaller.
    assert (kept.kept.width, kept.kept.height) == ((SIDE_PIXELS, 853) if name == "plug.jpg" else (960, 640))
    assert len(kept.kept.picture) <= KEPT_BYTES
    assert decoded(kept.kept.picture).size == (kept.kept.width, kept.kept.height)
    pack(folder, tmp_path / "bag.zip")
    unpack(tmp_path / "bag.zip", tmp_path / "elsewhere")
    there = next(p for p in (tmp_path / "elsewhere").iterdir() if not p.name.startswith("."))
    with open_job(there, write=False) as again:
        assert again.job.photos == (kept,)


def test_where_it_was_taken_stays_behind_and_it_stands_upright(tmp_path: Path) -> None:
    image = Image.new("RGB", (400, 200), "red")
    exif = Image.Exif()
    exif[0x0112] = 6  # turned by a quarter
    exif[0x010F] = "SomeCamera"
    exif.get_ifd(0x8825)[2] = (47.0, 1.0, 2.0)  # a place
    image.save(tmp_path / "turned.jpg", exif=exif)
    event = photo_event(tmp_path / "turned.jpg")
    assert (event.width, event.height) == (200, 400)
    kept = Image.open(io.BytesIO(event.picture))
    assert not dict(kept.getexif()) and b"SomeCamera" not in event.picture


def test_one_taken_back_stays_in_the_journal_and_can_come_back(tmp_path: Path) -> None:
    with create_job(tmp_path / "jobs", title="Pump") as opened:
        opened.append(photo_event(picture(tmp_path / "a.jpg", (64, 64))))
        photo = opened.job.photos[0].kept.photo
        opened.append(PhotoTakenBack(photo=photo))
        assert opened.job.photos[0].taken_back
        opened.append(PhotoTakenBack(photo=photo, again=True))
        assert not opened.job.photos[0].taken_back


@pytest.mark.parametrize("content", [b"", b"not a picture", b"\xff\xd8\xff\xe0 cut", b"GIF89a" + b"\0" * 40])
def test_what_is_no_picture_is_one_sentence(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "x.jpg").write_bytes(content)
    with pytest.raises(HisswayError, match=r"x\.jpg: is no picture"):
        photo_event(tmp_path / "x.jpg")
    with pytest.raises(HisswayError, match="No such file"):
        photo_event(tmp_path / "gone.jpg")


def test_a_small_file_that_unpacks_to_a_huge_picture_is_refused(tmp_path: Path) -> None:
    """A bomb: 400 megapixels in a few hundred kilobytes."""
    Image.new("1", (20_000, 20_000)).save(tmp_path / "bomb.png")
    with pytest.raises(HisswayError, match=r"bomb\.png"):
        photo_event(tmp_path / "bomb.png")
