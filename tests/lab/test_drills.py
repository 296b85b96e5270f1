"""Drills: the shipped sets, authoring, drills of real jobs without names, and what is said of broken ones."""

from __future__ import annotations

from pathlib import Path

import msgspec
import numpy as np
import pytest

from listen.audio.write import write_flac
from listen.errors import HisswayError, LabError
from listen.jobs.events import FindingRecorded, NoteAdded
from listen.jobs.folder.store import open_job
from listen.lab.demo_story import SHOP, SUPERVISOR, TECH, TITLE
from listen.lab.folders import drills_dir
from listen.lab.shipped import demo_job
from listen.lab.simulator.render import render
from listen.lab.simulator.scene import RoundSpec
from listen.lab.training.drills import find_drill, list_drills, own_drills, read_drill, read_truth, shipped_drills
from listen.lab.training.from_job import drill_from_job
from listen.lab.training.lessons import SETS, lesson_set
from listen.lab.training.make_drill import MakeWish, make_drill
from listen.rounds.loose import read_folder
from listen.signal.clip import Clip

TRAPS = {
    "cross-talk",
    "ventilation hose",
    "normal blow-by",
    "compressor",
    "fitting",
    "not at top dead centre",
    "bubbles",
}


def test_three_sets_are_shipped_easy_ones_first() -> None:
    """Beginner, intermediate, traps; each with clips, facts and truth beside them."""
    drills = shipped_drills()
    assert [d.level for d in drills] == ["beginner", "intermediate", "trap"]
    for drill in drills:
        assert drill.simulated and drill.seed is not None and drill.generator
        for item in drill.items:
            folder = drill.item_folder(item)
            assert len(read_folder(folder).takes) >= 6
            assert read_truth(folder).simulated and item.gave_away


def test_the_traps_are_all_there() -> None:
    """Everything an ear is known to fall for."""
    trap = shipped_drills()[2]
    assert {tag for item in trap.items for tag in item.focus} >= TRAPS


@pytest.mark.parametrize("level", list(SETS))
def test_shipped_sets_follow_from_their_seed(level: str) -> None:
    """The truth file of every round is what the recipe gives, and its clips are what that truth renders."""
    from listen.audio.files import read_clip

    drill, made = lesson_set(level)
    shipped = find_drill(Path("nowhere"), level)
    assert [m.spec.name for m in made] == [i.id for i in shipped.items]
    for one, item in zip(made, shipped.items, strict=True):
        truth = msgspec.json.decode((shipped.item_folder(item) / "truth.json").read_bytes())
        assert msgspec.convert(truth["spec"], RoundSpec) == one.spec
    point, kind, order = next(iter(clips := render(made[0].spec)))
    on_disk = read_clip(shipped.item_folder(shipped.items[0]) / f"{point}-{kind}-{order}.flac")
    # One step of the converter at most: other processors round their sines otherwise.
    assert np.abs(on_disk.samples - clips[(point, kind, order)].samples).max() <= 2.0**-15
    assert drill.seed == shipped.seed


def test_a_drill_is_made_as_wished(lab: Path) -> None:
    """Truths take turns, levels lie in the range, the same wish gives the same drill."""
    wanted = (("intake-valve",), ("none",), ("intake-valve", "rings"))
    wish = MakeWish(rounds=6, paths=wanted, hiss_db=(3, 5), seconds=0.5, seed=4)
    drill = make_drill("Two and none", wish, parent=drills_dir(lab))
    truths = [tuple(map(str, read_truth(drill.item_folder(i)).paths)) for i in drill.items]
    assert sorted(truths) == sorted(wanted * 2)
    for item in drill.items:
        document = msgspec.json.decode((drill.item_folder(item) / "truth.json").read_bytes())
        assert all(3 <= c["hiss_db"] <= 5 for c in document["truth"]["causes"])
    again = make_drill("Once more", wish, parent=drills_dir(lab))
    first, second = (d.item_folder(d.items[0]) / "intake-air-1.flac" for d in (drill, again))
    assert first.read_bytes() == second.read_bytes()
    assert [d.id for d in own_drills(lab)] == ["once-more", "two-and-none"]


def test_any_folder_of_sounds_serves_as_background(lab: Path, tmp_path: Path) -> None:
    """A shop records its own noise."""
    noise = np.random.default_rng(0).standard_normal(3 * 48_000) * 0.05
    write_flac(tmp_path / "our shop on monday.flac", Clip.of(noise, 48_000))
    drill = make_drill("Ours", MakeWish(rounds=2, backgrounds=tmp_path, seconds=0.5), parent=drills_dir(lab))
    document = msgspec.json.decode((drill.item_folder(drill.items[0]) / "truth.json").read_bytes())
    assert document["spec"]["background"]["name"] == "our shop on monday"


@pytest.mark.parametrize(
    ("wish", "said"),
    [
        (MakeWish(rounds=0), "from 1 to 200"),
        (MakeWish(hiss_db=(9, 3)), "lower first"),
        (MakeWish(paths=(("piston",),)), "'piston' is not an escape path"),
        (MakeWish(paths=(("none", "rings"),)), "make a pair"),
        (MakeWish(paths=(("rings", "rings"),)), "two different"),
        (MakeWish(paths=(("rings", "intake-valve", "exhaust-valve"),)), "make a pair"),
        (MakeWish(seconds=0), "from 0.5 to 30 s"),
        (MakeWish(backgrounds=Path("/nowhere")), "no sound files"),
    ],
)
def test_wishes_that_cannot_be_met_are_told_in_words(lab: Path, wish: MakeWish, said: str) -> None:
    """And leave nothing behind."""
    with pytest.raises(HisswayError, match=said):
        make_drill("No", wish, parent=drills_dir(lab))
    assert not drills_dir(lab).exists()


def test_an_existing_drill_is_never_written_over(lab: Path) -> None:
    """Scores point at it."""
    wish = MakeWish(rounds=1, seconds=0.5)
    make_drill("Once", wish, parent=drills_dir(lab))
    with pytest.raises(LabError, match="there already"):
        make_drill("Once", wish, parent=drills_dir(lab))


def test_a_job_with_a_finding_becomes_a_drill_without_names(tmp_path: Path, lab: Path) -> None:
    """Nothing that says whose engine it was, who worked on it, or when, may go along; not even inside the clips."""
    with open_job(demo_job(tmp_path)) as opened:
        with pytest.raises(LabError, match="no finding recorded"):
            drill_from_job(opened, drills_dir(lab) / "none-yet")
        opened.append(
            FindingRecorded(cylinder=5, paths=("intake-valve",), text=f"{TECH} saw it", found_by=SUPERVISOR),
            NoteAdded(text="customer: Mrs. Nobody"),
        )
        drill, left_out = drill_from_job(opened, drills_dir(lab) / "job-1")
        assert left_out == {}
        loss = opened.job.reading("loss", 5)
    assert [tuple(map(str, read_truth(drill.item_folder(i)).paths)) for i in drill.items] == [("intake-valve",)]
    listed = read_folder(drill.item_folder(drill.items[0]))
    assert {t.kind for t in listed.takes} == {"quiet", "air", "sound"}
    assert loss is not None and listed.facts.loss_percent == loss.si
    everything = b"".join(p.read_bytes() for p in sorted(Path(drill.folder).rglob("*")) if p.is_file())
    for name in (TITLE, SHOP, TECH, SUPERVISOR, "Nobody", "2026-03-17", "clip-on"):
        assert name.encode() not in everything, name
    assert "job-1" in {d.id for d in list_drills(lab)}


def test_a_round_made_off_top_dead_centre_is_never_taken_for_what_the_teardown_showed(
    lab: Path, tmp_path: Path
) -> None:
    """The first try on cylinder 3 of the demo blew at both pipes: a sound cylinder's teardown is not its truth."""
    with open_job(demo_job(tmp_path)) as opened:
        opened.append(
            FindingRecorded(cylinder=3, paths=("none",)),
            FindingRecorded(cylinder=2, paths=("none",)),
            FindingRecorded(cylinder=5, paths=("intake-valve",)),
        )
        drill, left_out = drill_from_job(opened, drills_dir(lab) / "job-2")
    assert [i.focus for i in drill.items] == [("intake-valve",)]
    assert sorted(left_out) == [2, 3]
    assert "no clip with the air on" in left_out[3] or "set-up" in left_out[3]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "correct it"),
        ('{"id": "x", "title": "x"}', "names no rounds"),
        ('{"id": "x", "title": "x", "items": [{"id": "../x"}]}', "not the name of a folder"),
        ('{"schema": "hissway.drill/9", "id": "x", "title": "x"}', "this version reads"),
    ],
)
def test_a_broken_drill_is_told_in_words(tmp_path: Path, text: str, said: str) -> None:
    """And does not hide the others."""
    folder = drills_dir(tmp_path) / "x"
    folder.mkdir(parents=True)
    (folder / "drill.json").write_text(text)
    with pytest.raises(LabError, match=said):
        read_drill(folder)
    assert own_drills(tmp_path) == ()


def test_an_unknown_drill_lists_the_known_ones(lab: Path) -> None:
    """One look, no searching."""
    with pytest.raises(LabError, match="beginner intermediate trap"):
        find_drill(lab, "expert")
