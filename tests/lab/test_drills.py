"""Drills: the shipped sets, authoring, drills of real jobs without names, and what is said of broken ones."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from listen.audio.write import write_clip
from listen.errors import HisswayError, LabError
from listen.jobs.events import FindingRecorded, NoteAdded
from listen.jobs.folder.store import open_job
from listen.lab.learners import drills_dir
from listen.lab.shipped import demo_job
from listen.lab.simulator.render import render
from listen.lab.training import seal
from listen.lab.training.drills import (
    DrillSet,
    OpenDrill,
    find_drill,
    list_drills,
    own_drills,
    read_drill,
    shipped_drills,
)
from listen.lab.training.from_job import drill_from_job, superseded
from listen.lab.training.held import Held
from listen.lab.training.lesson import POINTS
from listen.lab.training.make_drill import MakeWish, make_drill
from listen.lab.training.seal import lab_key
from listen.signal.clip import Clip
from listen.trade.points import Kind
from tests.demo.lessons import SETS, lesson_specs
from tests.demo.story import SHOP, SUPERVISOR, TECH, TITLE

TRAPS = {
    "cross-talk",
    "ventilation hose",
    "normal blow-by",
    "compressor",
    "fitting",
    "not at top dead centre",
    "bubbles",
}


def rounds(drill: DrillSet, lab: Path = Path("nowhere")) -> list[Held]:
    """All rounds of a set, unsealed."""
    opened = OpenDrill(drill, lab)
    return [opened.held(i) for i in opened.ids]


def test_three_sets_are_shipped_easy_ones_first() -> None:
    """Beginner, intermediate, traps; the same points, clips and kinds of facts in all."""
    drills = shipped_drills()
    assert [d.level for d in drills] == ["beginner", "intermediate", "trap"]
    every = [held for drill in drills for held in rounds(drill)]
    assert len(every) == 19 and len({h.id for h in every}) == 19
    assert all(len(h.clips) == 10 and h.points == POINTS and h.gave_away and h.spec for h in every)
    assert all(h.facts.loss_percent is not None and h.facts.bubbles_seen is not None for h in every)


def test_the_traps_are_all_there() -> None:
    """Everything an ear is known to fall for."""
    assert {tag for held in rounds(shipped_drills()[2]) for tag in held.focus} >= TRAPS


@pytest.mark.parametrize("level", list(SETS))
def test_shipped_sets_follow_from_their_seed(level: str) -> None:
    """Every round is what the recipe gives, and its clips are what that renders."""
    shipped = {h.id: h for h in rounds(find_drill(Path("nowhere"), level))}
    specs = lesson_specs(level)
    assert {s.name: s for s in specs} == {i: h.spec for i, h in shipped.items()}
    for key, clip in render(specs[0]).items():
        # One step of the converter at most: other processors round their sines otherwise.
        assert np.abs(shipped[specs[0].name].clips[key].samples - clip.samples).max() <= 2.0**-15


def test_a_drill_is_made_as_wished(lab: Path) -> None:
    """Truths as wished, levels in the range, the same wish gives the same sounds under other names."""
    wanted = (("intake-valve",), ("none",), ("intake-valve", "rings"))
    wish = MakeWish(rounds=9, paths=wanted, hiss_db=(3, 5), seconds=0.5, seed=4)
    drill, again = (make_drill(title, wish, root=lab) for title in ("Two and none", "Once more"))
    held, other = rounds(drill, lab), rounds(again, lab)
    assert {h.truth for h in held} == set(wanted)
    assert all(3 <= c.hiss_db <= 5 for h in held if h.spec for c in h.spec.truth.causes)
    sounds = [{h.clips["intake", Kind.AIR, 1].samples.tobytes() for h in many} for many in (held, other)]
    assert sounds[0] == sounds[1] and not {h.id for h in held} & {h.id for h in other}
    assert [d.id for d in own_drills(lab)] == ["once-more", "two-and-none"]


def test_a_drill_is_drawn_with_the_air_switched(lab: Path) -> None:
    """One take a point at a standing microphone, met as what its halves sound like; its hiss can be left out."""
    wish = MakeWish(rounds=1, paths=(("intake-valve",),), hiss_db=(12, 12), seconds=4.0, seed=4, switched=True)
    drill = make_drill("By the valve", wish, root=lab)
    (held,) = rounds(drill, lab)
    assert "switched" in drill.about and "air switched" in held.focus
    assert held.spec is not None
    takes = [t for p in held.spec.points for t in p.takes]
    assert {t.kind for t in takes} == {Kind.SWITCHED} and {len(t.switched.on_s) for t in takes if t.switched} == {2}
    assert {kind for _, kind, _ in held.clips} == {Kind.QUIET, Kind.AIR}
    quiet, air = held.pair("intake")
    without = held.without_hiss("intake")
    assert without is not None and min(quiet.seconds, air.seconds) > 2.5
    # Differences, since most of a shop's power lies below any hiss.
    power = [float(np.mean(np.diff(c.samples.astype(np.float64)) ** 2)) for c in (quiet, air, without)]
    assert power[1] > 1.5 * power[0] and power[1] > 1.5 * power[2], "the air is heard in its half and nowhere else"


def test_any_folder_of_sounds_serves_as_background(lab: Path, tmp_path: Path) -> None:
    """A shop records its own noise."""
    noise = np.random.default_rng(0).standard_normal(3 * 48_000) * 0.05
    write_clip(tmp_path / "our shop on monday.flac", Clip.of(noise, 48_000))
    drill = make_drill("Ours", MakeWish(rounds=2, backgrounds=tmp_path, seconds=0.5), root=lab)
    assert {h.spec.background.name for h in rounds(drill, lab) if h.spec} == {"our shop on monday"}


@pytest.mark.parametrize(
    ("wish", "said"),
    [
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
        make_drill("No", wish, root=lab)
    assert not drills_dir(lab).exists()


def test_an_existing_drill_is_never_written_over(lab: Path) -> None:
    """Scores point at it."""
    wish = MakeWish(rounds=1, seconds=0.5)
    make_drill("Once", wish, root=lab)
    with pytest.raises(LabError, match="there already"):
        make_drill("Once", wish, root=lab)


def test_a_job_with_a_finding_becomes_a_drill_without_names(tmp_path: Path, lab: Path) -> None:
    """Nothing that says whose engine it was, who worked on it, or when, may go along; not even inside the clips."""
    key, file = lab_key(lab, make=True), drills_dir(lab) / "job-1.drill"
    with open_job(demo_job(tmp_path)) as opened:
        with pytest.raises(LabError, match="no finding recorded"):
            drill_from_job(opened, drills_dir(lab) / "none-yet.drill", key=key)
        opened.append(
            FindingRecorded(cylinder=5, paths=("intake-valve",), text=f"{TECH} saw it", found_by=SUPERVISOR),
            NoteAdded(text="customer: Mrs. Nobody"),
        )
        drill, left_out = drill_from_job(opened, file, key=key)
        assert left_out == {}
        loss = opened.job.reading("loss", 5)
    (held,) = rounds(drill, lab)
    assert held.truth == ("intake-valve",) and held.spec is None and held.without_hiss("intake") is None
    assert {k for _, k, _ in held.clips} >= {"quiet", "air"}
    assert loss is not None and held.facts.loss_percent == loss.si
    head, body = file.read_bytes().split(b"\n", 2)[:2], file.read_bytes().split(b"\n", 2)[2]
    inside = seal.unseal(body, b"\n".join(head) + b"\n", key)
    assert inside is not None and b"intake-valve" in inside
    for name in (TITLE, SHOP, TECH, SUPERVISOR, "Nobody", "2026-03-17", "clip-on"):
        assert name.encode() not in inside and name.encode() not in b"".join(head), name
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
        drill, left_out = drill_from_job(opened, drills_dir(lab) / "job-2.drill", key=lab_key(lab, make=True))
        assert superseded(opened.job) == {}
    held = {h.focus: h for h in rounds(drill, lab)}
    assert set(held) == {("none",), ("intake-valve",)}
    assert list(left_out) == [3]
    assert "no clip with the air on" in left_out[3] or "set-up" in left_out[3]
    # Cylinder 2 was taken with the air switched: it is met as quiet and air clips, like the one that was walked.
    assert len({frozenset((p, k) for p, k, _ in h.clips) for h in held.values()}) == 1
    for point in held["none",].points:
        quiet, air = held["none",].pair(point)
        assert quiet.seconds > 4.0 and air.seconds > 4.0


def test_that_an_earlier_round_said_otherwise_is_told() -> None:
    """The last one before the teardown is taken, and never silently."""
    verdicts = {"one": ("path", ("rings",)), "two": ("path", ("intake-valve",)), "three": ("path", ("intake-valve",))}
    result = {
        n: SimpleNamespace(result=SimpleNamespace(verdict=SimpleNamespace(kind=k, paths=p)))
        for n, (k, p) in verdicts.items()
    }
    heard = tuple(SimpleNamespace(kept=SimpleNamespace(point="intake", clip_kind=k)) for k in ("quiet", "air"))
    records = {
        n: SimpleNamespace(id=n, cylinder=2, verdict=v, stale=False, clips=heard, live_clips=lambda *_: heard)
        for n, v in result.items()
    }
    for chosen, said in (
        (("one", "two"), "1 earlier left out; they said otherwise"),
        (("two", "three"), "1 earlier left out"),
    ):
        before = tuple(records[n] for n in chosen)
        job = SimpleNamespace(findings={2: None}, before_finding={2: before}, round=records.__getitem__)
        told = superseded(job)[2]  # type: ignore[arg-type]
        assert said in told and ("otherwise" in told) == ("one" in chosen)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "no drill of form"),
        ("hissway.drill/2\n{", "make the drill anew"),
        ('hissway.drill/2\n{"id": "x", "title": "x", "rounds": 0}\n', "names no rounds"),
        ('hissway.drill/9\n{"id": "x", "title": "x", "rounds": 1}\n', "no drill of form"),
    ],
)
def test_a_broken_drill_is_told_in_words(tmp_path: Path, text: str, said: str) -> None:
    """And does not hide the others."""
    file = drills_dir(tmp_path) / "x.drill"
    file.parent.mkdir(parents=True)
    file.write_text(text)
    with pytest.raises(LabError, match=said):
        read_drill(file)
    assert own_drills(tmp_path) == ()


def test_an_unknown_drill_lists_the_known_ones(lab: Path) -> None:
    """One look, no searching."""
    with pytest.raises(LabError, match="beginner intermediate trap"):
        find_drill(lab, "expert")
