"""The shipped demo: rebuilt from its seed, labelled, small, opened without trouble, judged right."""

from __future__ import annotations

import threading
from pathlib import Path

import msgspec
import numpy as np
import pytest

from listen.audio.files import read_clip
from listen.jobs.events import ByEarCalled
from listen.jobs.exchange.verify import verify_job
from listen.jobs.folder.store import open_job
from listen.jobs.to_round import to_round
from listen.jobs.walk import walked
from listen.jobs.ways import SWITCHED
from listen.lab.shipped import LEFT_ROUND, MAIN_ROUND, demo_job, demo_scenes, recordings_dir
from listen.lab.simulator.simulated_microphone import SimulatedMicrophone
from listen.rounds.evaluate import evaluate
from listen.trade.points import Kind
from tests.demo.job import make_demo
from tests.demo.scenes import ENGINE, demo_scene
from tui.bridge.demo import DemoServices

MAX_BYTES = 15_000_000
STEP = 2.0**-15
"""One step of the demo's 16-bit converter."""
FILES = sorted(p for p in recordings_dir().rglob("*") if p.is_file())


def test_the_recordings_stay_small() -> None:
    """They are in every wheel and every clone."""
    assert FILES
    assert sum(p.stat().st_size for p in FILES) < MAX_BYTES


def test_every_shipped_clip_says_that_it_is_simulated() -> None:
    """Nobody may take them for recordings of an engine."""
    clips = [p for p in FILES if p.suffix == ".flac"]
    assert len(clips) > 30
    assert all("simulat" in read_clip(p).device for p in clips)


def test_the_demo_is_rebuilt_from_its_seed_and_is_the_same_every_time(tmp_path: Path) -> None:
    """Truth, story and clips; a sample may differ by one step of the converter on another kind of processor.

    Stored verdicts follow the judge of the day and are looked at apart, but on one machine they are the same, too.
    """
    rebuilt = tmp_path / "rebuilt"
    make_demo(rebuilt)
    shipped = recordings_dir() / "demo"
    clips = sorted((shipped / "job" / "clips").iterdir())
    assert len(clips) == 45
    assert [c.name for c in clips] == sorted(c.name for c in (rebuilt / "job" / "clips").iterdir())
    for path in clips:
        ours, again = read_clip(path), read_clip(rebuilt / "job" / "clips" / path.name)
        assert (ours.taken, ours.device) == (again.taken, again.device)
        assert np.abs(ours.samples - again.samples).max() <= STEP
    assert (rebuilt / "scenes.json").read_bytes() == (shipped / "scenes.json").read_bytes()
    assert demo_scenes() == {n: demo_scene(n) for n in ENGINE.cylinders}
    assert (shipped / "truth.json").read_bytes() == (rebuilt / "truth.json").read_bytes()
    stories = [_story(folder / "job" / "journal.jsonl") for folder in (shipped, rebuilt)]
    assert stories[0] == stories[1]
    again = shipped
    if (again / "job" / "journal.jsonl").read_bytes() != (rebuilt / "job" / "journal.jsonl").read_bytes():
        again = tmp_path / "again"  # what is shipped was made on a processor that rounds otherwise
        make_demo(again)
    assert (again / "job" / "journal.jsonl").read_bytes() == (rebuilt / "job" / "journal.jsonl").read_bytes()


def _story(journal: Path) -> list[tuple[str, str, object]]:
    events = [msgspec.json.decode(line) for line in journal.read_bytes().splitlines()]
    told = [(e["time"], e["kind"], e["payload"]) for e in events if e["kind"] != "judged"]
    return [(t, k, {**p, "sha256": ""} if k == "clip-kept" else p) for t, k, p in told]


def test_a_copy_opens_without_trouble_and_has_everything_to_show(tmp_path: Path) -> None:
    """Readings of every cylinder, plugs, symptoms, four judged rounds (one switched), one begun."""
    with open_job(demo_job(tmp_path)) as opened:
        job = opened.job
        assert not opened.broken and not job.troubles
        assert job.simulated and len(job.engine.cylinders) != 8
        for n in job.engine.cylinders:
            assert job.reading("compression-dry", n) and job.reading("loss", n) and n in job.plugs
        assert job.reading("compression-wet", 5) and job.symptoms_of()
        judged = [r for r in job.rounds if r.clips]
        assert len(judged) == 4 and all(r.call() and r.verdict and not r.stale for r in judged)
        assert judged[0].decision is not None
        assert {c.kept.walk for c in judged[2].live_clips()} == {SWITCHED} and judged[2].air_followed == "yes"
        assert walked(job, LEFT_ROUND).due.kind == "clip"
        assert walked(job, MAIN_ROUND).due.kind == "done"


@pytest.mark.parametrize(("cylinder", "kind"), [(1, "sound"), (2, "sound"), (3, "set-up"), (5, "path")])
def test_the_demo_rounds_are_judged_as_their_truth_is(tmp_path: Path, cylinder: int, kind: str) -> None:
    """The demo would be a poor advertisement otherwise; that this is what is computed today, a test below says."""
    with open_job(demo_job(tmp_path), write=False) as opened:
        record = opened.job.rounds_of(cylinder)[0]
    truth = [str(p) for p in demo_scene(cylinder, first_try=True).truth.paths]
    assert record.verdict is not None
    verdict = record.verdict.result.verdict
    assert (verdict.kind, [str(p) for p in verdict.paths]) == (kind, truth)


def test_a_second_copy_leaves_the_first_alone(tmp_path: Path) -> None:
    """What someone tried on the demo is still there the next time."""
    first = demo_job(tmp_path)
    (first / "mine.txt").write_text("kept")
    assert demo_job(tmp_path) == first and (first / "mine.txt").read_text() == "kept"


def test_a_copy_from_a_read_only_installation_can_be_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Packages are often installed by root."""
    import shutil

    from listen.lab import shipped

    source = tmp_path / "installed"
    shutil.copytree(recordings_dir() / "demo", source / "demo")
    for path in [source, *source.rglob("*")]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    monkeypatch.setattr(shipped, "recordings_dir", lambda: source)
    copy = demo_job(tmp_path / "jobs")
    for path in [source, *source.rglob("*")]:
        path.chmod(0o755)
    modes = [p.stat().st_mode & 0o200 for p in [copy, *copy.rglob("*")]]
    assert len(modes) > 40 and all(modes)


def test_what_the_demo_stores_is_what_its_clips_give_today() -> None:
    """A changed judge must not leave the demo with yesterday's numbers: run python -m tests recordings."""
    verification = verify_job(recordings_dir() / "demo" / "job")
    assert (verification.clips, verification.results) == (45, 4)
    assert verification.ok, verification.mismatches


def test_a_newcomer_walks_the_cylinder_left_open_and_finds_it_sound(tmp_path: Path) -> None:
    """Every step the demo asks for, with the simulated microphone, to a verdict that is true."""
    with open_job(demo_job(tmp_path)) as opened:
        microphone = SimulatedMicrophone(demo_scenes()[3], pace=0)
        microphone.open()
        stored = {c.kept.device for c in opened.job.round(MAIN_ROUND).clips}
        assert stored == {microphone.name}, "a clip of a judged round taken again would be refused as another's"
        while (step := walked(opened.job, LEFT_ROUND).due).kind in ("clip", "call"):
            if step.kind == "call":
                opened.append(ByEarCalled(round_id=LEFT_ROUND, declined=True))
                continue
            part = opened.new_part(LEFT_ROUND, step.point, step.clip_kind, step.walk)
            microphone.hold_at((step.point,), Kind(step.clip_kind))
            opened.keep(part, *microphone.record([part.path], 3.0, threading.Event()))
        result = evaluate(to_round(opened.job, LEFT_ROUND, opened.folder))
    assert result.verdict.kind == "sound", result.verdict.text


def test_the_demo_says_what_is_to_be_done_until_it_is_done(tmp_path: Path) -> None:
    """Advice that stays after it was followed is not true."""
    with open_job(demo_job(tmp_path), write=False) as opened:
        job = opened.job
    services = DemoServices(tmp_path / "jobs")
    assert "Cylinder 3 is to be tested again" in services.welcome(job)
    judged = msgspec.structs.replace(job.round(MAIN_ROUND), id=LEFT_ROUND)
    done = tuple(judged if r.id == LEFT_ROUND else r for r in job.rounds)
    assert services.welcome(msgspec.structs.replace(job, rounds=done)) == "This engine is simulated: nothing can break."
