"""Makes the pictures of the README from the program itself: `python tests/tui/pictures.py` writes recordings/pictures.

The demo job is copied to a folder that goes, its open cylinder is walked with the simulated microphone at full speed,
and each screen is kept as an SVG without outside fonts.
"""

from __future__ import annotations

import asyncio
import html
import re
import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))

import numpy as np  # noqa: E402
from bay import settle, until  # noqa: E402
from msgspec.structs import replace  # noqa: E402
from rich.cells import cell_len  # noqa: E402
from textual.pilot import Pilot  # noqa: E402

from listen.audio.write import write_clip  # noqa: E402
from listen.jobs.events import Judged, ReadingEntered  # noqa: E402
from listen.lab.simulator.render import render  # noqa: E402
from listen.lab.simulator.scene import Switched  # noqa: E402
from listen.lab.simulator.simulated_microphone import SimulatedMicrophone  # noqa: E402
from listen.lab.simulator.switching_hand import Hand, as_switched  # noqa: E402
from listen.rounds.evaluate import evaluate  # noqa: E402
from listen.rounds.model import Facts, Round, Take  # noqa: E402
from listen.signal.switching import commanded_times  # noqa: E402
from listen.trade.points import Kind  # noqa: E402
from tests.demo.scenes import demo_scene  # noqa: E402
from tests.jobs.short import begin_round  # noqa: E402
from tui.app import HisswayApp  # noqa: E402
from tui.bridge.demo import DemoServices  # noqa: E402
from tui.bridge.preferences import Preferences  # noqa: E402
from tui.screens.evidence.screen import EvidenceScreen  # noqa: E402
from tui.screens.round.screen import RoundScreen  # noqa: E402
from tui.screens.verdict.screen import VerdictScreen  # noqa: E402

FOLDER = HERE.parents[1] / "recordings" / "pictures"
FONTS = "DejaVu Sans Mono, Menlo, Consolas, monospace"
CELL_PX = 12.2
FONT_PX = CELL_PX / 0.602
"""Size at which a DejaVu Sans Mono character is as wide as a cell: some programs do not stretch text to its cells."""
PADDED = re.compile(r'<text([^>]*) x="([\d.]+)" y="([\d.]+)" textLength="[\d.]+"([^>]*)>((?:&#160;)+)([^<]*)</text>')
CYLINDER = 5
"""The demo's cylinder whose intake valve leaks: walked anew for the picture of a round."""


class QuickDemo(DemoServices):
    """The demo with a microphone that does not wait."""

    def source(
        self, cylinder: int | None = None, name: str | None = None, *, every: bool = False
    ) -> SimulatedMicrophone:
        """Full speed."""
        return SimulatedMicrophone(demo_scene(cylinder or 1), pace=0, channels=8 if every else 1)


def keep(app: HisswayApp, name: str) -> None:
    """Write what is on the screen, without outside fonts and window ornaments."""
    svg = app.export_screenshot(title="hissway")
    svg = re.sub(r"@font-face\s*{[^}]*}", "", svg)
    svg = re.sub(r"font-family:[^;]*;", f"font-family: {FONTS};", svg)
    svg = svg.replace("font-size: 20px", f"font-size: {FONT_PX:.2f}px")
    svg = re.sub(r"<circle[^>]*/>|<!--.*?-->", "", svg, flags=re.DOTALL)
    svg = re.sub(r"\n\s+", "\n", svg)
    svg = PADDED.sub(_unpadded, svg)
    FOLDER.mkdir(parents=True, exist_ok=True)
    (FOLDER / f"{name}.svg").write_text(svg, "utf-8")


def _unpadded(text: re.Match[str]) -> str:
    """A piece of text that begins where its first letter stands: some programs swallow blanks at its front."""
    before, x, y, after, blanks, words = text.groups()
    words = re.sub(r"(?:&#160;)+$", "", words)
    at = float(x) + CELL_PX * len(blanks) / len("&#160;")
    length = CELL_PX * cell_len(html.unescape(words))
    return f'<text{before} x="{at:.1f}" y="{y}" textLength="{length:.1f}"{after}>{words}</text>' if words else ""


async def walk(pilot: Pilot, screen: RoundScreen, clips: int) -> None:
    """Record so many clips."""
    for _ in range(clips):
        await pilot.press("space")
        await until(
            pilot, lambda: not screen.now.busy and not screen.now.checking and screen.now.outcome is not None, 60
        )


async def round_pictures() -> None:
    """A new round on the leaking cylinder: in its air walk, its verdict, what that rests on, its evidence."""
    app = HisswayApp(services=QuickDemo())
    quick, shown = Preferences(before_s=0.0, clip_s=4.0, move_s=0.0), Preferences(clip_s=4.0)
    app.preferences = quick
    async with app.run_test(size=(100, 30)) as pilot:
        await until(pilot, lambda: bool(app.screen.query("EngineView")))
        await settle(pilot)
        keep(app, "engine")
        await pilot.press(*["down"] * (CYLINDER - 1), "R", "enter")
        await until(pilot, lambda: isinstance(app.screen, RoundScreen))
        screen = app.screen
        await until(pilot, lambda: screen.listener.reading is not None, 30)
        while screen.step().kind == "caution":
            await settle(pilot)
            await pilot.press("space")
        loss = ReadingEntered(
            reading="loss", value=41, unit="percent", si=41, cylinder=CYLINDER, round_id=screen.round_id
        )
        screen.write(loss)
        await until(pilot, lambda: screen.step().kind == "clip")
        points = len({s.point for s in screen.query_one("Ladder").point_rows})
        await walk(pilot, screen, points)
        await pilot.press("1")
        await until(pilot, lambda: screen.step().walk == "air")
        await walk(pilot, screen, points - 3)
        app.preferences = shown
        screen.on_screen_resume()
        await asyncio.sleep(1.0)
        await settle(pilot)
        keep(app, "round-air-walk")
        app.preferences = quick
        await walk(pilot, screen, 3 + points)
        await pilot.press("n")
        await until(pilot, lambda: screen.record.verdict is not None, 60)
        await asyncio.sleep(0.5)
        await settle(pilot)
        keep(app, "round-verdict")
        await pilot.press("v")
        await until(pilot, lambda: isinstance(app.screen, VerdictScreen))
        await settle(pilot)
        keep(app, "verdict")
        await pilot.press("escape")
        app.push_screen(EvidenceScreen(screen.round_id, "intake"))
        await until(pilot, lambda: getattr(app.screen, "_seen", None) is not None, 60)
        await settle(pilot)
        keep(app, "evidence")


async def switched_picture() -> None:
    """Evidence of a switched take at the leaking cylinder's intake."""
    spec = demo_scene(CYLINDER)
    spec = replace(spec, points=tuple(p for p in spec.points if p.point == "intake"))
    on_s = commanded_times(4, 5.0)
    turns = Hand().turns(np.random.default_rng(3), on_s)
    how = Switched(on_s=turns, decay_s=0.35, wander_db=0.5)
    (clip,) = (c for (_, kind, _), c in render(as_switched(spec, on_s, {"intake": how})).items() if kind == "switched")
    app = HisswayApp(services=QuickDemo())
    async with app.run_test(size=(100, 30)) as pilot:
        await until(pilot, lambda: bool(app.screen.query("EngineView")))
        opened = app.open_job
        file = opened.folder.parent / "intake.flac"
        write_clip(file, clip)
        round_id = begin_round(opened, CYLINDER)
        opened.keep_file(file, opened.new_part(round_id, "intake", "switched", "switched", on_s))
        result = evaluate(Round("r", (Take("intake", Kind.SWITCHED, 1, file, on_s=on_s),), Facts(loss_percent=41.0)))
        opened.append(Judged(round_id=round_id, result=result, clips=(opened.job.round(round_id).clips[0].id,)))
        app.job = opened.job
        app.push_screen(EvidenceScreen(round_id, "intake"))
        await until(pilot, lambda: getattr(app.screen, "_level", None) is not None, 60)
        await settle(pilot)
        keep(app, "evidence-switched")


def main() -> None:
    """All pictures."""
    asyncio.run(round_pictures())
    asyncio.run(switched_picture())


if __name__ == "__main__":
    main()
