"""The hit rate: empty, calls right and wrong, simulated engines apart, and intervals drawn in their places."""

from __future__ import annotations

import re
from pathlib import Path

import msgspec
from bay import bench, screen_text, until, words
from fakes import FakeServices, result_for

from listen.jobs.events import ByEarCalled, ClipKept, FindingRecorded, Judged, Overruled, RoundOpened
from listen.jobs.folder.store import create_job
from listen.jobs.hit_rate import HitRate
from listen.jobs.teardowns import FILE, counting
from listen.rate import Bin, Rate
from listen.trade.engine import layout
from tui.app import HisswayApp
from tui.screens.hit_rate.screen import HitRateScreen, share_lines


def torn_down(root: Path, title: str, called: str, found: str, *, name: str = "Una") -> None:
    """One cylinder called by ear, judged as an intake valve by the program, and opened."""
    with create_job(root, title=title, engine=layout("inline-4")) as opened:
        opened.append(
            RoundOpened(round_id="r", cylinder=1),
            ByEarCalled(round_id="r", paths=(called,), sure=0.7, name=name),
            Judged(round_id="r", result=result_for(["intake"]), clips=(), version="1"),
            FindingRecorded(cylinder=1, paths=(found,)),
        )


async def to_hit_rate(pilot, app: HisswayApp) -> None:
    await until(pilot, lambda: bool(app.screen.query("#jobs")) and app.screen.query_one("#jobs").display)
    await pilot.press("g")
    await until(pilot, lambda: isinstance(app.screen, HitRateScreen) and "Reading every" not in screen_text(app))


async def test_without_a_teardown_it_says_how_one_is_recorded(tmp_path: Path) -> None:
    app = bench(tmp_path)
    async with app.run_test(size=(80, 24)) as pilot:
        await until(pilot, lambda: "g Hit rate" in screen_text(app))
        await to_hit_rate(pilot, app)
        assert "No teardown is recorded yet" in words(app) and "press f" in words(app)


async def test_ear_and_program_stand_with_their_intervals_and_the_wrong_calls_first(tmp_path: Path) -> None:
    """Two engines: the ear was wrong once, the program never; a hostile name is text."""
    torn_down(tmp_path / "jobs", "Baler [red]", "rings", "intake-valve", name="[b]Una[/b]")
    torn_down(tmp_path / "jobs", "Pump", "intake-valve", "intake-valve")
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_hit_rate(pilot, app)
        text, said = screen_text(app), words(app)
        assert "2 cylinders whose teardown is known" in said and "simulated" not in said
        assert "2 of 2 (16 % to 100 %)" in said and "1 of 2 (1 % to 99 %)" in said and "70 % sure" in said
        assert text.index("× wrong") < text.index("✓ right")
        assert "[b]Una[/b] said rings, 70 % sure; it was intake valve" in said and "Baler [red], cylinder 1" in said
        await pilot.press("escape")
        await until(pilot, lambda: bool(app.screen.query("#jobs")))


async def test_a_decision_is_held_against_the_teardown_where_no_call_was_made(tmp_path: Path) -> None:
    """A person who was right where ear and program said nothing is not left out."""
    with create_job(tmp_path / "jobs", title="Other", engine=layout("inline-4")) as opened:
        result = result_for(["intake"])
        unclear = msgspec.structs.replace(result.verdict, kind="unclear")
        opened.append(
            RoundOpened(round_id="r", cylinder=1),
            Judged(round_id="r", result=msgspec.structs.replace(result, verdict=unclear), clips=(), version="1"),
            Overruled(round_id="r", name="Ann", paths=("rings",), reason="heard it"),
            FindingRecorded(cylinder=1, paths=("rings",)),
        )
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_hit_rate(pilot, app)
        assert "Ann: agreed 0, right 0; overruled 1, of these the person alone right 1" in words(app)
        assert "nobody made a call, by ear or by the program" in words(app)


async def test_on_a_narrow_screen_scale_and_shares_are_whole(tmp_path: Path) -> None:
    """What a row reads stands below it, and nothing is broken in the middle."""
    torn_down(tmp_path / "jobs", "Pump", "rings", "intake-valve")
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(50, 24)) as pilot:
        await to_hit_rate(pilot, app)
        lines = [line.strip() for line in screen_text(app).splitlines()]
        assert sum(re.fullmatch(r"\d of 1 \(\d+ % to \d+ %\)", line) is not None for line in lines) >= 2
        assert any(line.split() == ["0", "%", "50", "%", "100", "%", "right"] for line in lines)


async def test_simulated_engines_are_counted_apart(tmp_path: Path) -> None:
    torn_down(tmp_path / "jobs", "Real", "rings", "rings")
    with create_job(tmp_path / "jobs", title="Made up", engine=layout("inline-4"), simulated=True) as opened:
        opened.append(RoundOpened(round_id="r", cylinder=1), ByEarCalled(round_id="r", paths=("rings",)))
        opened.append(FindingRecorded(cylinder=1, paths=("rings",)))
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(100, 45)) as pilot:
        await to_hit_rate(pilot, app)
        real, simulated = screen_text(app).split("Simulated engines")
        assert "1 cylinder whose teardown is known" in real and "Made up" not in real
        assert "Made up" in simulated and "Real" not in simulated


def test_a_share_is_drawn_inside_its_interval() -> None:
    """Mark, interval and the sureness stated stand where the scale says; nothing leaves its line."""
    rate = Rate(2, 4, 0.25, 0.75)
    row = HitRate(by="tool", rate=rate, classes=(Bin(0.9, 1.0, 1.0, rate),))
    for width in (60, 76, 154):
        axis, _, first, legend = (line.plain for line in share_lines((row,), width))
        left = axis.index("0 %")
        columns = first.index("│") - left
        assert first.index("◆") - left == round(0.5 * columns)
        assert first.index("▒") - left == round(0.25 * columns) and first.rindex("▒") - left == round(0.75 * columns)
        assert "2 of 4 (25 % to 75 %)" in first and "95 % interval" in legend and len(first) <= width


def many_torn_down(root: Path, cylinders: int) -> None:
    """So many cylinders heard at the intake and opened, four a job: every truth is the intake valve."""
    for n in range(cylinders):
        if n % 4 == 0:
            opened = create_job(root, title=f"Engine {n // 4}", engine=layout("inline-4"))
        clip = {"point": "intake", "take": 1, "sha256": "0" * 64, "seconds": 1.0, "rate_hz": 48000, "round_id": f"r{n}"}
        opened.append(
            RoundOpened(round_id=f"r{n}", cylinder=n % 4 + 1),
            *(ClipKept(clip=f"{kind}{n:04d}", clip_kind=kind, walk=kind, **clip) for kind in ("quiet", "air")),
            Judged(round_id=f"r{n}", result=result_for(["intake"]), clips=(), version="1"),
            FindingRecorded(cylinder=n % 4 + 1, paths=("intake-valve",)),
        )
        if n % 4 == 3 or n == cylinders - 1:
            opened.close()


async def test_teardowns_count_only_from_thirty_on_and_when_somebody_lets_them(tmp_path: Path) -> None:
    """Before and after stand on the screen first; nothing counts until y, and x ends it."""
    many_torn_down(tmp_path / "jobs", 34)
    file = tmp_path / "jobs" / FILE
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(100, 40)) as pilot:
        await to_hit_rate(pilot, app)
        await until(pilot, lambda: "34 teardowns are recorded, not counted" in words(app))
        assert "No teardown is recorded" not in words(app)
        await pilot.press("y")  # nothing was tried yet
        assert not file.exists()
        await pilot.press("t")
        await until(pilot, lambda: "34 rounds of theirs judged again" in words(app))
        assert "by the tables alone named 34, right 34" in words(app)
        assert "with the teardowns named 34, right 34" in words(app) and "intake valve 21 % to 49 %" in words(app)
        assert not file.exists()
        await pilot.press("y")
        await until(pilot, lambda: "34 teardowns count for the odds since" in words(app))
        assert counting(tmp_path / "jobs") is not None
        await pilot.press("x")
        await until(pilot, lambda: "34 teardowns are recorded, not counted" in words(app))
        assert not file.exists()


async def test_fewer_teardowns_than_thirty_cannot_be_let_count(tmp_path: Path) -> None:
    many_torn_down(tmp_path / "jobs", 2)
    app = HisswayApp(services=FakeServices(tmp_path))
    async with app.run_test(size=(80, 24)) as pilot:
        await to_hit_rate(pilot, app)
        await until(pilot, lambda: "2 of 30 teardowns" in words(app))
        assert "t Try" not in words(app)
        await pilot.press("t", "y")
        assert not (tmp_path / "jobs" / FILE).exists()
