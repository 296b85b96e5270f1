"""A drill tests the ear: all files and no ears are guessing; answers are no plain lines."""

from __future__ import annotations

import tempfile
from pathlib import Path

import msgspec
import numpy as np
import pytest

from listen.errors import LabError
from listen.lab.learners import append_record, create_learner, read_records
from listen.lab.simulator.render import TakeKey
from listen.lab.simulator.scene import RoundSpec
from listen.lab.training import held, lesson, seal
from listen.lab.training.book import Call
from listen.lab.training.drills import OpenDrill, read_drill, shipped_drills
from listen.lab.training.fresh import fresh_round
from listen.lab.training.held import PAIR
from listen.lab.training.instructor import class_focus, class_row, class_table, last_here
from listen.lab.training.lesson import POINTS
from listen.lab.training.make_drill import MakeWish, make_drill
from listen.lab.training.next_drill import ALL
from listen.lab.training.session import answers_of, practise, sessions_dir, start
from listen.signal.clip import Clip
from listen.trade.points import PathId
from tests.lab.attacker import attack, fresh, kept

SURELY = 1e-4
"""Of all runs at most so many may fail by chance (binomial, 6 ways of 200 rounds)."""


@pytest.fixture
def no_sound(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rounds without samples, where nobody listens: drawing stays as it is."""
    mute = Clip.of(np.zeros(800), 8_000)

    def muted(spec: RoundSpec) -> dict[TakeKey, Clip]:
        takes = [(p.point, t) for p in spec.points for t in p.takes]
        return {(at, kind, t.order): mute for at, t in takes for kind in (PAIR if t.switched else (t.kind,))}

    for module in (held, lesson):
        monkeypatch.setattr(module, "met", muted)


def most_by_chance(rounds: int, share: float) -> int:
    """Hits that guessing passes in one of ten thousand runs."""
    from scipy.stats import binom

    return int(binom.ppf(1 - SURELY / 6, rounds, share))


def test_all_files_and_no_ears_are_guessing_on_fresh_rounds(
    lab: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, no_sound: None
) -> None:
    """200 rounds of nine truths: a ninth is 22; the bound is what chance passes once in sixty thousand."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    rates = attack(lab, 4, fresh(50), tmp_path).rates()
    assert {rate.of for rate in rates.values()} == {200}
    assert max(rate.hits for rate in rates.values()) <= most_by_chance(200, 1 / len(ALL)) == 43


def test_all_files_and_no_ears_are_guessing_on_a_kept_set(
    lab: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, no_sound: None
) -> None:
    """The same of a made set of 30: sealed, its truths drawn each by itself, so that counting does not help."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "passing"))
    (tmp_path / "passing").mkdir()
    drill = make_drill("Thirty", MakeWish(rounds=30, seconds=0.5, seed=3), root=lab)
    rates = attack(lab, 1, kept(drill), tmp_path / "passing").rates()
    assert max(rate.hits for rate in rates.values()) <= most_by_chance(30, 1 / len(PathId))


def test_what_one_learner_answered_tells_another_nothing(lab: Path, no_sound: None) -> None:
    """The same set, played by two: neither names nor numbers of one's lines occur in the other's before the answer."""
    drill = make_drill("Twice", MakeWish(rounds=9, paths=(("rings",), ("none",)), seconds=0.5, seed=1), root=lab)
    seen = []
    for name in ("Ada", "Bob"):
        session = start(lab, create_learner(lab, name), drill, seed=7)
        while not session.done:
            session.call(Call())
            session.answer()
        seen.append([(a.item, a.truth) for a in session.answers])
    assert [truth for _, truth in seen[0]] == [truth for _, truth in seen[1]], "one seed, one order"
    assert not {item for item, _ in seen[0]} & {item for item, _ in seen[1]}
    other = make_drill("Thrice", MakeWish(rounds=9, paths=(("rings",), ("none",)), seconds=0.5, seed=1), root=lab)
    names = [start(lab, create_learner(lab, f"Eve {d.id}"), d, seed=7).order for d in (drill, other)]
    assert [sorted(names[0]).index(i) for i in names[0]] != [sorted(names[1]).index(i) for i in names[1]]


def test_no_file_tells_a_truth_before_the_answer(lab: Path) -> None:
    """Neither the learner's files, nor sizes, nor the sealed sets: no path's name is in any of them."""
    session = practise(lab, create_learner(lab, "Ada"), ("rings",), "fresh")
    assert session.held.points and session.facts is None
    files = [p for p in lab.rglob("*") if p.is_file()] + [Path(d.file) for d in shipped_drills()]
    pool = next(sessions_dir(lab, create_learner(lab, "Bob")).parent.parent.glob("*/sessions/*.jsonl"))
    after = pool.read_bytes().split(b"\n", 1)[1]
    assert b"rings" not in after and len(after) < 300, "only the sum to which the truth is held"
    for path in set(files) - {pool}:
        text = path.read_bytes().split(b"\n", 2)[-1]  # a set's open line says what kind of rounds it holds
        assert not [p for p in PathId if p is not PathId.NONE and str(p).encode() in text], path


def test_every_round_has_the_same_points_clips_and_readings(no_sound: None) -> None:
    """Whatever its truth; loss is drawn alike for every leak of the engine."""
    loss = {}
    for truth in ALL:
        rounds = [fresh_round((truth,), (), seed) for seed in range(60)]
        assert {r.points for r in rounds} == {POINTS}
        assert {tuple(r.clips) for r in rounds} == {tuple(rounds[0].clips)}
        told = {tuple(k for k in r.facts.__struct_fields__ if getattr(r.facts, k) is not None) for r in rounds}
        assert told == {("loss_percent", "supply_kpa", "cylinder", "bubbles_seen", "firing_order")}
        loss[truth] = [r.facts.loss_percent or 0.0 for r in rounds]
    leaks = [t for t in ALL if t not in ("none", "set-up")]
    medians = [float(np.median(loss[t])) for t in leaks]
    assert max(medians) / min(medians) < 1.7, medians


def test_fresh_rounds_are_never_the_same_twice(no_sound: None) -> None:
    """A seed that was met is drawn again; another one gives other samples of the same shop."""
    first = fresh_round(("rings",), (), 5)
    from tests.lab.test_scoring import answer

    before = answer(("rings",), ("rings",), seed=5)
    assert first.seed == 5 and fresh_round(("rings",), (before,), 5).seed != 5
    assert first.spec is not None and held.met(first.spec).keys() == first.clips.keys()


def test_one_fresh_round_in_four_is_taken_with_the_air_switched_whatever_its_truth(no_sound: None) -> None:
    """How a round was taken tells nothing of it: 30 of 120 rounds of each truth, within four standard deviations."""
    for truth in ("none", "rings", "intake-valve"):
        rounds = [fresh_round((truth,), (), seed) for seed in range(120)]
        assert 12 <= sum("air switched" in r.focus for r in rounds) <= 48, truth
        assert not any({"cross-talk", "drips", "compressor"} & {*r.focus} for r in rounds if "air switched" in r.focus)


def test_after_the_truth_a_clip_is_heard_without_its_hiss() -> None:
    """The same moment of the same shop: where nothing hisses it is the same clip, at the leak the hiss is missing."""
    one = fresh_round(("intake-valve",), (), 8)
    without, (_, air) = one.without_hiss("intake"), one.pair("intake")
    assert without is not None and len(without.samples) == len(air.samples)
    hiss = air.samples.astype(float) - without.samples
    assert np.std(air.samples) > np.std(without.samples)
    assert abs(np.corrcoef(without.samples, air.samples)[0, 1]) > 0.3 and np.std(hiss) > 0


def test_a_changed_answer_is_told(lab: Path, no_sound: None) -> None:
    """A line that was edited, dropped, or a whole session that is gone: said so, and no score of it."""
    ada = create_learner(lab, "Ada")
    for _ in range(2):
        session = practise(lab, ada, ("rings", "none"), "fresh", 2)
        while not session.done:
            session.call(Call(paths=("rings",), sure=0.9))
            session.answer()
    first, second = sorted(sessions_dir(lab, ada).glob("*.jsonl"))
    assert len(answers_of(lab, ada)) == 4
    whole = first.read_bytes()
    lines = whole.splitlines(keepends=True)
    for bad in (
        whole.replace(b'"sure":0.9', b'"sure":0.2', 1),
        whole.replace(b'"truth":["none"]', b'"truth":["rings"]').replace(b'"focus":["none"]', b'"focus":["rings"]')
        if b'"truth":["none"]' in whole
        else whole.replace(b'"truth":["rings"]', b'"truth":["none"]'),
        b"".join(lines[:2] + lines[3:]),
    ):
        first.write_bytes(bad)
        with pytest.raises(LabError, match="does not follow the line before"):
            answers_of(lab, ada)
    first.write_bytes(b"".join(lines[:-1]))
    with pytest.raises(LabError, match="removed or cut"):
        answers_of(lab, ada)
    create_learner(lab, "Bob")
    assert last_here(lab) is not None
    rows = {row.learner.name: row for row in class_table(lab)}
    assert "removed or cut" in rows["Ada"].trouble and not rows["Bob"].trouble, "nobody else is kept from the desk"
    assert "file was changed" in class_row(rows["Ada"])[0] and class_focus(lab) == {}
    first.unlink()
    with pytest.raises(LabError, match="removed or cut"):
        answers_of(lab, ada)
    first.write_bytes(whole)
    assert len(answers_of(lab, ada)) == 4 and second.exists()


def test_sums_made_anew_do_not_move_a_truth(lab: Path, no_sound: None) -> None:
    """Whoever rewrites the chain itself still cannot give a round another truth than the one it was met with."""
    from listen.lab.training import book

    ada = create_learner(lab, "Ada")
    session = practise(lab, ada, ("rings",), "fresh", 1)
    session.call(Call(paths=("none",), sure=0.9))
    session.answer()
    (path,) = sessions_dir(lab, ada).glob("*.jsonl")
    links = read_records(path, book.Link)
    path.unlink()
    head = book.START
    for link in links:
        raw = bytes(link.record).replace(b'"truth":["rings"]', b'"truth":["none"]')
        new = book.Link(record=msgspec.Raw(raw), sum=book.sum_after(head, raw))
        append_record(path, new)
        head = new.sum
    with pytest.raises(LabError, match="not the one fixed"):
        answers_of(lab, ada)


def test_a_lab_s_drills_open_with_its_key_alone(
    lab: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, no_sound: None
) -> None:
    """The instructor may keep it elsewhere; without it, with another, or after a changed bit nothing opens."""
    monkeypatch.setenv("HISSWAY_LAB_KEY", str(tmp_path / "stick" / "lab.key"))
    drill = make_drill("Ours", MakeWish(rounds=1, seconds=0.5), root=lab)
    assert not (lab / seal.KEY_FILE).exists()
    assert len(OpenDrill(drill, lab).ids) == 1
    data = Path(drill.file).read_bytes()
    Path(drill.file).write_bytes(data[:-1] + bytes([data[-1] ^ 1]))
    with pytest.raises(LabError, match="changed after it was sealed"):
        OpenDrill(read_drill(Path(drill.file)), lab)
    Path(drill.file).write_bytes(data)
    monkeypatch.setenv("HISSWAY_LAB_KEY", str(tmp_path / "other.key"))
    with pytest.raises(LabError, match="the instructor has it"):
        OpenDrill(drill, lab)
    seal.lab_key(lab, make=True)
    with pytest.raises(LabError, match="another lab's key"):
        OpenDrill(drill, lab)
