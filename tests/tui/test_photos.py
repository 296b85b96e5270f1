"""Photos on the screen: brought in by name, drawn, taken back and restored by the same key."""

from __future__ import annotations

from pathlib import Path

import pytest
from bay import bench, screen_text, to_engine, type_text, until, words
from PIL import Image

from tui.screens.photos.screen import PhotosScreen, file_named


async def test_a_photo_is_added_drawn_taken_back_and_restored(tmp_path: Path) -> None:
    Image.new("RGB", (320, 200), "orange").save(tmp_path / "plug 1.jpg")
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await to_engine(pilot)
        await pilot.press("P")
        await until(pilot, lambda: isinstance(app.screen, PhotosScreen) and "No photos yet" in screen_text(app))
        await pilot.press("a")
        await type_text(pilot, f"{tmp_path}/none.jpg")
        await until(pilot, lambda: "Nothing is there" in words(app))
        await pilot.press("ctrl+u")
        await type_text(pilot, f"'{tmp_path}/plug 1.jpg', oily")
        await until(pilot, lambda: "oily" in screen_text(app) and "▀" in screen_text(app))
        assert app.job.photos[0].kept.cylinder == 1
        for taken in (True, False):
            await pilot.press("backspace")
            await until(pilot, lambda t=taken: app.job.photos[0].taken_back is t)
            assert ("taken back" in screen_text(app)) is taken


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("/a/b.jpg", "/a/b.jpg"),
        ("'/a/b c.jpg' ", "/a/b c.jpg"),
        ("/a/b\\ c.jpg", "/a/b c.jpg"),
        ("file:///a/b%20c.jpg", "/a/b c.jpg"),
    ],
)
def test_a_file_dropped_on_the_terminal_is_found(typed: str, meant: str) -> None:
    """Terminals quote, escape, or type an address."""
    assert file_named(typed) == Path(meant)
