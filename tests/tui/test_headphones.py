"""The headphone check: nothing sounds unasked, six answers decide, and it is asked once before a threshold run."""

from __future__ import annotations

from pathlib import Path

import pytest
from bay import screen_text, until, words
from test_lab import LabServices, Mute, take_in, to_lab

from tui.app import HisswayApp
from tui.screens.dialog import PickScreen
from tui.screens.lab.screen import LabScreen
from tui.screens.lab.which import HeadphoneScreen


async def to_check(pilot, app: HisswayApp, key: str) -> HeadphoneScreen:
    await to_lab(pilot, app)
    await take_in(pilot, app, "Una")
    await pilot.press(key)
    await until(pilot, lambda: isinstance(app.screen, HeadphoneScreen) and "noise 1 of 6" in screen_text(app))
    return app.screen


@pytest.mark.parametrize("wrong", [(), (2, 5)], ids=["all heard", "highest band lost"])
async def test_six_answers_tell_which_band_is_not_heard(tmp_path: Path, wrong: tuple[int, ...]) -> None:
    """Answers before anything was played do not count; afterwards the background is asked, once for good."""
    app = HisswayApp(services=LabServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await to_check(pilot, app, "t")
        assert not app.services.fake_player.played
        await pilot.press("1")
        await until(pilot, lambda: "nothing was played yet" in words(app))
        assert screen.right == []
        await pilot.press("space")
        for i, trial in enumerate(screen.trials):
            await until(pilot, lambda: screen.query_one("Pairs").pairs[0].heard == 1)
            await pilot.press(str(3 - trial.hiss_in if i in wrong else trial.hiss_in))
            await until(pilot, lambda n=i: len(screen.right) == n + 1)
        said = "8-14 kHz" if wrong else "pass all three bands"
        await until(pilot, lambda: said in words(app).replace("▌ ", "").replace("▎ ", ""))
        assert [name for name, _ in app.services.fake_player.played].count("silence") == len(screen.trials)
        await pilot.press("space")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(app.screen, LabScreen))
        await pilot.press("t")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))


async def test_left_by_escape_it_is_asked_again_and_without_sound_it_can_be_left_out(tmp_path: Path) -> None:
    app = HisswayApp(services=LabServices(tmp_path))
    app.services.fake_player = Mute()
    async with app.run_test(size=(80, 24)) as pilot:
        await to_check(pilot, app, "p")
        await pilot.press("escape")
        await until(pilot, lambda: isinstance(app.screen, LabScreen))
        await pilot.press("t")
        await until(pilot, lambda: isinstance(app.screen, HeadphoneScreen) and "noise 1 of 6" in screen_text(app))
        await pilot.press("space")
        await until(pilot, lambda: "libportaudio2. Without a loudspeaker" in words(app).replace("▌ ", ""))
        await pilot.press("s")
        await until(pilot, lambda: isinstance(app.screen, PickScreen))
