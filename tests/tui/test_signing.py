"""Signing on the Confirm screen: with the shop's key, without it, where there is none, and where it cannot be read."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from bay import screen_text, to_engine, type_text, until
from bay import words as said_on
from fakes import FakePlayer, FakeServices, result_for
from test_screens import confirming, judged_job

from listen.audio.write import write_clip
from listen.errors import JobError
from listen.jobs.events import Judged, ReadingEntered, RoundOpened
from listen.jobs.exchange.keys import fingerprint, make_key
from listen.jobs.exchange.sign import check_signatures
from listen.jobs.folder.store import create_job, open_job
from listen.jobs.hearing import numbers_seen
from listen.signal.clip import Clip
from listen.trade.engine import layout
from tui.app import HisswayApp
from tui.screens.confirm.phases import phase_say
from tui.screens.confirm.screen import ConfirmScreen
from tui.screens.dialog import OneLineScreen, TickScreen


def words(app: HisswayApp) -> str:
    """What is on the screen as one line, without the edges of banner and box."""
    return " ".join(said_on(app).translate(str.maketrans("", "", "▌▎│")).split())


class BadKey(FakeServices):
    def shop_key(self):
        raise JobError("shop-key.pem: not a shop key (a PEM file with an Ed25519 key and no password)")


async def to_decided(pilot, tmp_path: Path) -> ConfirmScreen:
    screen = await confirming(pilot, tmp_path)
    await pilot.press("c", "d", "n", "a")
    await until(pilot, lambda: screen.phase == "decided")
    return screen


async def sign(pilot, app: HisswayApp, round_id: str) -> None:
    await pilot.press("s")
    await type_text(pilot, "Ida Moor")
    await until(pilot, lambda: app.job.round(round_id).signed and "the round is closed" in words(app))


async def test_the_shop_key_signs_and_the_statement_is_read_before(tmp_path: Path) -> None:
    """What is signed says what happened: numbers seen, nothing heard; afterwards the key's fingerprint stands there."""
    round_id = await judged_job(tmp_path)
    app = HisswayApp(services=FakeServices(tmp_path))
    app.services.key = make_key(tmp_path / "key.pem")
    async with app.run_test(size=(80, 24)) as pilot:
        await to_decided(pilot, tmp_path)
        assert "signs beside the name" in words(app)
        await pilot.press("s")
        await until(pilot, lambda: "You sign:" in words(app))
        assert "I have seen the numbers and heard no clips." in words(app)
        await type_text(pilot, "Bo")
        await until(pilot, lambda: "Ida Moor sits here" in words(app))
        await pilot.press(*["backspace"] * 2)
        await type_text(pilot, "Ida Moor")
        await until(pilot, lambda: app.job.round(round_id).signed and "the round is closed" in words(app))
        public = app.services.key.public_key().public_bytes_raw().hex()
        (check,) = check_signatures(app.open_job.chain)
        assert check.state == "good"
        assert fingerprint(public)[:26] in words(app)


async def test_no_key_is_said_with_what_to_do(tmp_path: Path) -> None:
    round_id = await judged_job(tmp_path)
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_decided(pilot, tmp_path)
        said = words(app)
        assert "no shop key on this machine" in said and "hissway key --make" in said
        await sign(pilot, app, round_id)
        assert [c.state for c in check_signatures(app.open_job.chain)] == ["name-only"]


async def test_a_key_that_cannot_be_read_is_said_and_the_name_can_still_sign(tmp_path: Path) -> None:
    round_id = await judged_job(tmp_path)
    app = HisswayApp(services=BadKey(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_decided(pilot, tmp_path)
        said = words(app)
        assert "not a shop key" in said and "the typed name stands alone" in said
        await sign(pilot, app, round_id)


async def test_what_is_signed_and_covered_is_read_to_its_last_word(tmp_path: Path) -> None:
    """A long statement, a sound cylinder's clips and the words on the key: nobody signs what ends in an ellipsis."""
    await judged_job(tmp_path)
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_decided(pilot, tmp_path)
        app.push_screen(OneLineScreen("You sign: " + "heard " * 40 + "STATED", how="covers " * 60 + "KEY WORDS"))
        await until(pilot, lambda: "STATED" in words(app) and "KEY WORDS" in words(app))
        assert app.screen.query_one("#line").region.bottom < 24


def keys(app: HisswayApp) -> str:
    """The lines of keys at the bottom."""
    return " ".join(" ".join(screen_text(app).splitlines()[-2:]).split())


async def test_keys_that_do_nothing_in_a_phase_are_not_offered(tmp_path: Path) -> None:
    """Call by ear belongs to hearing; with the numbers it is gone, and nothing plays while signing."""
    await judged_job(tmp_path)
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await confirming(pilot, tmp_path)
        await until(pilot, lambda: "c Call by ear" in keys(app))
        await pilot.press("c", "d", "n")
        await until(pilot, lambda: "Call by ear" not in keys(app))
        await pilot.press("a")
        await until(pilot, lambda: "x Stop" not in keys(app))


async def test_blind_is_what_happened_to_whoever_sits_here(tmp_path: Path) -> None:
    """Reached past the verdict, a pair played, a path called: blind. The next who sits down has seen the numbers."""
    round_id = await judged_job(tmp_path)
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: bool(app.screen.query("#jobs")))
        app.take(open_job(next(p for p in (tmp_path / "jobs").iterdir() if not p.name.startswith("."))))
        screen = ConfirmScreen(round_id)
        await app.push_screen(screen)
        await type_text(pilot, "Ida Moor")
        await until(pilot, lambda: screen.phase == "hear")
        await pilot.press("space")
        await until(pilot, lambda: screen.query_one("Pairs").pairs[0].heard == 1)
        await pilot.press("c", "2")
        await until(pilot, lambda: screen.phase == "tech" and "air on" in words(app) and "air off" in words(app))
        await pilot.press("n", "a")
        await until(pilot, lambda: screen.phase == "decided")
        first = app.job.round(round_id).decision
        assert first.heard.blind and first.payload.blind and len(first.heard.pairs) == 1
        assert first.event.actor == "Ida Moor"
        await pilot.press("w")
        await until(pilot, lambda: screen.phase == "name")
        await pilot.press(*["backspace"] * len("Ida Moor"))
        await type_text(pilot, "Cy Vale")
        await until(pilot, lambda: screen.phase == "hear" and "seen numbers of this round" in words(app))
        await pilot.press("space")
        await until(pilot, lambda: screen.query_one("Pairs").pairs[0].heard == 1)
        await pilot.press("c", "2", "n", "a")
        await until(pilot, lambda: len(app.job.round(round_id).decisions) == 2)
        second = app.job.round(round_id).decision
        assert second.payload.name == "Cy Vale" and not second.heard.blind and not second.payload.blind
        assert second.heard.numbers_first and len(second.heard.pairs) == 1


class Slow(FakePlayer):
    """A loudspeaker that plays until it is stopped."""

    def play(self, clip, gain_db: float = 0.0) -> None:
        super().play(clip, gain_db)
        self.playing = True


class SlowServices(FakeServices):
    def player(self):
        self.slow = getattr(self, "slow", Slow())
        return self.slow


async def test_a_pair_that_was_stopped_was_not_heard(tmp_path: Path) -> None:
    round_id = await judged_job(tmp_path)
    app = HisswayApp(services=SlowServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await confirming(pilot, tmp_path)
        await pilot.press("space")
        await until(pilot, lambda: screen.query_one("Pairs").sounding[1] == 0)
        await pilot.press("x")
        await until(pilot, lambda: screen.query_one("Pairs").sounding[1] == -1)
        assert screen.query_one("Pairs").pairs[0].heard == 0
        await pilot.press("c", "2")
        await until(pilot, lambda: screen.phase == "tech")
        assert app.job.round(round_id).played == ()


async def test_beside_a_question_a_pair_is_chosen_and_played_and_the_question_keeps_its_keys(tmp_path: Path) -> None:
    """What is on the screen with a pointer has its keys: none has to be found with Tab, after which n would be dead."""
    await judged_job(tmp_path)
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await confirming(pilot, tmp_path)
        pairs = screen.query_one("Pairs")
        for phase, key in (("call", "c"), ("tech", "2"), ("decide", "n")):
            heard = pairs.pairs[1].heard if len(pairs.pairs) > 1 else pairs.pairs[0].heard
            await pilot.press(key)
            await until(pilot, lambda p=phase: screen.phase == p and "Space Play" in keys(app))
            await pilot.press("down", "space")
            await until(pilot, lambda h=heard: pairs.pairs[pairs.at].heard == h + 1)
        await pilot.press("a")
        await until(pilot, lambda: screen.phase == "decided" and "Space Play" not in keys(app))


async def test_a_switched_take_is_heard_as_the_pair_of_its_halves(tmp_path: Path) -> None:
    """One take, air off and on in it: two sounds in an order that is not told, and it counts as heard."""
    round_id = await switched_job(tmp_path)
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await confirming(pilot, tmp_path)
        await pilot.press("space")
        await until(pilot, lambda: screen.query_one("Pairs").pairs[0].heard == 1)
        assert len(app.services.fake_player.played) == 2
        await pilot.press("c", "2")
        await until(pilot, lambda: screen.phase == "tech")
        (take,) = app.job.round(round_id).live_clips()
        assert [p.clips for p in app.job.round(round_id).played] == [(take.id,)]


async def switched_job(tmp_path: Path) -> str:
    """A judged round that is one switched take: louder while the air is on."""
    on_s = ((1.0, 2.0), (3.0, 4.0))
    noise = np.random.default_rng(1).standard_normal(5 * 48_000).astype(np.float32) * 0.01
    for begin, end in on_s:
        noise[round(begin * 48_000) : round(end * 48_000)] *= 3
    write_clip(tmp_path / "take.flac", Clip.of(noise, 48_000))
    with create_job(tmp_path / "jobs", title="Judged", engine=layout("inline-4")) as opened:
        opened.append(RoundOpened(round_id="c1-a", cylinder=1))
        opened.keep_file(tmp_path / "take.flac", opened.new_part("c1-a", "intake", "switched", "switched", on_s))
        clips = tuple(c.id for c in opened.job.round("c1-a").live_clips())
        opened.append(Judged(round_id="c1-a", result=result_for(["intake"]), clips=clips))
    return "c1-a"


async def test_a_verdict_that_is_older_than_its_readings_is_told_before_it_is_decided(tmp_path: Path) -> None:
    round_id = await judged_job(tmp_path)
    with open_job(next((tmp_path / "jobs").glob("[!.]*"))) as opened:
        for loss, told in ((None, "What do you say?"), (7.0, "changed since this was judged")):
            if loss is not None:
                opened.append(ReadingEntered(reading="loss", value=loss, unit="percent", si=loss, cylinder=1))
            assert told in phase_say("decide", opened.job.round(round_id), "Ida Moor").more


@pytest.mark.parametrize("away", ["left", "another sat down"])
async def test_numbers_seen_by_someone_who_wrote_nothing_are_remembered(tmp_path: Path, away: str) -> None:
    """Named, on the screen with the verdict, then gone: under the same name the round is not blind any more."""
    round_id = await judged_job(tmp_path)
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: bool(app.screen.query("#jobs")))
        app.sit("Ida Moor", "supervisor")
        await to_engine(pilot)
        folder = app.open_job.folder
        if away == "another sat down":
            app.sit("Cy Vale", "supervisor")
    with open_job(folder, write=False) as shown:
        names = {s.name for s in shown.job.round(round_id).shown}
        assert names == ({"Ida Moor"} if away == "left" else {"Ida Moor", "Cy Vale"})
        assert numbers_seen(shown.job.round(round_id), "ida moor", "another sitting")
        before = len(shown.chain.lines)
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: bool(app.screen.query("#jobs")))
        app.sit("Ida Moor", "supervisor")
        await to_engine(pilot)
    with open_job(folder, write=False) as shown:
        assert len(shown.chain.lines) == before, "once is enough"


async def test_the_supervisor_may_call_two_paths_at_once(tmp_path: Path) -> None:
    round_id = await judged_job(tmp_path)
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        screen = await confirming(pilot, tmp_path)
        await pilot.press("c", "right", "right", "right", "m")
        await until(pilot, lambda: isinstance(app.screen, TickScreen))
        await pilot.press("1", "3", "enter")
        await until(pilot, lambda: screen.phase == "tech")
        call = app.job.round(round_id).call("supervisor")
        assert call.paths == ("intake-valve", "rings") and call.sure == 0.7 and not call.declined
