"""Loose rounds of switched takes: one microphone after another or several at once, judged as walks are."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray

from listen.cli.main import main
from listen.errors import RoundError
from listen.judge.result import RoundResult
from listen.lab.simulator import background
from listen.lab.simulator.draw import draw
from listen.lab.simulator.render import render
from listen.lab.simulator.scene import Part, Switched
from listen.lab.simulator.switching_hand import Hand, as_switched
from listen.lab.simulator.worlds.world import Wishes
from listen.rounds.evaluate import evaluate
from listen.rounds.loose import read_folder
from listen.signal.switching import commanded_times
from listen.trade.points import PathId

POINTS = ("intake", "tailpipe", "oil-filler")
TOLD = commanded_times(4, 4.0)


@pytest.fixture(scope="module", autouse=True)
def shops() -> Iterator[None]:
    """One shop's sound serves all hands and leaks of its seed: it is most of what a round takes to make, and only what
    is made of the very same numbers is taken once more."""
    make, known = background.synthetic, {}

    def once(parts: tuple[Part, ...], rng: np.random.Generator, n: int, rate_hz: int) -> NDArray[np.complex64]:
        key = repr((parts, rng.bit_generator.state, n, rate_hz))
        if key not in known:
            known[key] = make(parts, rng, n, rate_hz)
        return known[key].copy()  # coloured in place

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(background, "synthetic", once)
        yield


def _round(
    folder: Path,
    *,
    path: PathId = PathId.INTAKE_VALVE,
    hiss_db: float = -6.0,
    hand: Hand | None = None,
    together: bool = False,
    seed: int = 5,
    told: bool = True,
    loss_percent: float = 20.0,
) -> Path:
    """One leak, switched at three points in a shop that wanders by 0.5 dB; one file a point, or one for all."""
    rng = np.random.default_rng(seed)
    wishes = Wishes(paths=(path,), hiss_db=hiss_db, points=POINTS, rate_hz=48_000, blow_by_db=-25.0)
    spec = draw(rng, "report", wishes=wishes)
    hand = hand or Hand()
    turns = {p: hand.turns(rng, TOLD) for p in POINTS}
    how = {p: Switched(on_s=turns["intake" if together else p], wander_db=0.5, together=together) for p in POINTS}
    clips = {point: clip for (point, _, _), clip in render(as_switched(spec, TOLD, how)).items()}
    folder.mkdir()
    said: dict[str, object] = {"loss_percent": loss_percent, "cylinder": 3}
    if loss_percent > 20.0:
        said |= {"restrictor_mm": 1.0, "supply_kpa": 550}
    if told:
        said["switched"] = {"period_s": 4.0, "on_s": TOLD}
    if together:
        said["channels"] = [*POINTS[:2], None, POINTS[2]]
        unused = np.zeros_like(clips["intake"].samples) + 1e-4
        four = np.stack([clips[POINTS[0]].samples, clips[POINTS[1]].samples, unused, clips[POINTS[2]].samples], axis=1)
        soundfile.write(folder / "all-switched-1.flac", four, 48_000, subtype="PCM_24")
    else:
        for point, clip in clips.items():
            soundfile.write(folder / f"{point}-switched.wav", clip.samples, 48_000, subtype="PCM_24")
    (folder / "round.json").write_text(json.dumps(said))
    return folder


def _judged(folder: Path) -> RoundResult:
    return evaluate(read_folder(folder))


@pytest.mark.parametrize("together", [False, True])
def test_a_weak_leak_is_named(tmp_path: Path, together: bool) -> None:
    """-6 dB in a shop that wanders by 0.5 dB: the path, how it was taken, and how often the air came."""
    result = _judged(_round(tmp_path / "r", together=together, loss_percent=25.0))
    assert (result.verdict.kind, result.verdict.paths) == ("path", ("intake-valve",))
    by_point = {p.point: p for p in result.points}
    assert by_point["intake"].detected
    assert {p.taken for p in result.points} == {"switched"}
    assert {p.cycles for p in result.points} == {4}
    assert all(p.detection_limit_db is not None and p.detection_limit_db < 0.6 for p in result.points)


def test_a_loud_leak_needs_no_commands_and_tells_its_decay(tmp_path: Path) -> None:
    """All channels at once: the edges are heard where it is loud and serve every point."""
    result = _judged(_round(tmp_path / "r", hiss_db=8.0, together=True, told=False))
    by_point = {p.point: p for p in result.points}
    assert by_point["intake"].decay_s == pytest.approx(0.4, abs=0.12)
    assert result.verdict.paths == ("intake-valve",)


def test_without_commands_a_silent_point_says_that_nothing_was_switched(tmp_path: Path) -> None:
    """No number, one flag that says what to do; a round of such points is no verdict."""
    result = _judged(_round(tmp_path / "r", hiss_db=8.0, told=False))
    by_point = {p.point: p for p in result.points}
    assert by_point["intake"].detected
    silent = [p for p in result.points if p.excess_db is None]
    assert silent
    assert all(any(f.flag == "no-switching" and f.reject for f in p.flags) for p in silent)


@pytest.mark.parametrize("seed", [1, 2, 4])
@pytest.mark.parametrize(
    "hand", [Hand((0.5, 0.9)), Hand(jitter_s=0.25), Hand(misses=1)], ids=["late", "uneven", "misses"]
)
def test_hands_are_not_machines(tmp_path: Path, hand: Hand, seed: int) -> None:
    """Late, uneven, or a turn missed: the right path or none, never a false one."""
    result = _judged(_round(tmp_path / "r", hiss_db=2.0, hand=hand, seed=seed))
    assert result.verdict.kind == "unclear" or "intake-valve" in result.verdict.paths, result.verdict


@pytest.mark.parametrize("seed", [1, 2, 4])
def test_a_forgotten_valve_names_nothing(tmp_path: Path, seed: int) -> None:
    """The tester says 20 %, nothing follows the tones: cannot tell, and why."""
    result = _judged(_round(tmp_path / "r", hiss_db=6.0, hand=Hand(forgets=True), seed=seed))
    assert result.verdict.kind == "unclear"
    assert "valve" in result.verdict.next


def test_a_needle_that_followed_makes_silence_count(tmp_path: Path) -> None:
    """Nothing leaks and the needle was seen to move: sound may be said."""
    folder = _round(tmp_path / "r", path=PathId.NONE)
    said = json.loads((folder / "round.json").read_text()) | {"loss_percent": 6.0}
    kinds = []
    for followed in (None, True):
        (folder / "round.json").write_text(json.dumps(said | {"air_followed": followed}))
        kinds.append(_judged(folder).verdict.kind)
    assert kinds == ["unclear", "sound"]


def test_same_input_same_output(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """To the last digit, and the switched fields are in the JSON."""
    folder = _round(tmp_path / "r", together=True)
    lines = []
    for _ in range(2):
        assert main(["rank", "--json", str(folder)]) == 0
        lines.append(capsys.readouterr().out)
    assert lines[0] == lines[1]
    assert {p["taken"] for p in json.loads(lines[0])["points"]} == {"switched"}


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({}, "channels"),
        ({"channels": []}, "channels"),
        ({"channels": ["intake", "carburettor"]}, "unknown listening point 'carburettor'"),
        ({"channels": ["intake", "intake"]}, "intake twice"),
        ({"channels": "intake"}, "channels"),
        ({"channels": ["intake"], "switched": {"on_s": [[2.0, 1.0]]}}, "must rise"),
        ({"channels": ["intake"], "switched": {"on_s": [[1.0, 3.0], [2.0, 4.0]]}}, "must rise"),
        ({"channels": ["intake"], "switched": {"on_s": [[-1.0, 3.0]]}}, "on_s"),
        ({"channels": ["intake"], "switched": {"period_s": 0}}, "period_s"),
    ],
)
def test_bad_channels_and_times_are_told(tmp_path: Path, said: dict[str, object], expected: str) -> None:
    """One sentence that names the key."""
    soundfile.write(tmp_path / "all-switched.wav", np.full((48_000, 2), 0.01), 48_000)
    (tmp_path / "round.json").write_text(json.dumps(said))
    with pytest.raises(RoundError, match=expected):
        read_folder(tmp_path)


def test_more_channels_named_than_there_are(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Told by rank in one line."""
    noise = np.random.default_rng(0).normal(0, 0.01, (48_000 * 6, 2))
    soundfile.write(tmp_path / "all-switched.wav", noise, 48_000)
    (tmp_path / "round.json").write_text(json.dumps({"channels": ["intake", "tailpipe", "radiator"]}))
    assert main(["rank", str(tmp_path)]) == 1
    assert "no channel 2; it has 2" in capsys.readouterr().err


@pytest.mark.parametrize("note", [{"on_s": [[1.0, 3.0]]}, {"switched": {"on_s": [[1.0, 3.0]]}}])
def test_the_times_of_one_file_stand_in_its_note_or_under_switched(tmp_path: Path, note: dict[str, object]) -> None:
    for at in ("intake", "tailpipe"):
        soundfile.write(tmp_path / f"{at}-switched.wav", np.full(48_000, 0.01), 48_000)
    said = {"switched": {"on_s": [[2.0, 4.0]]}, "files": {"intake-switched": note}}
    (tmp_path / "round.json").write_text(json.dumps(said))
    assert {t.point: t.on_s for t in read_folder(tmp_path).takes} == {
        "intake": ((1.0, 3.0),),
        "tailpipe": ((2.0, 4.0),),
    }


def test_a_shop_too_quiet_for_the_recorder_is_told_and_the_round_goes_on(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Air off below what 16 bits hold, air on well above it: no pair, and one sentence on the gain."""
    rng, t_s = np.random.default_rng(2), np.arange(20 * 48_000) / 48_000
    on = sum((t_s >= a) & (t_s < b) for a, b in ((2.5, 5.0), (7.5, 10.0), (12.5, 15.0)))
    for point in POINTS:
        sound = rng.standard_normal(len(t_s)) * np.where(on, 2e-3, 1e-5)
        soundfile.write(tmp_path / f"{point}-switched.wav", sound, 48_000, subtype="PCM_16")
    assert main(["rank", "--json", str(tmp_path)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [p["excess_db"] for p in told["points"]] == [None] * 3
    assert {f["flag"] for p in told["points"] for f in p["flags"]} >= {"too-low", "no-pair"}
    assert told["verdict"]["kind"] == "unclear" and "gain" in told["verdict"]["next"]
