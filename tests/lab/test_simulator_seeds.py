"""Same seed, same samples; populations that share nothing; recordings used once and split by kind."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import msgspec
import numpy as np
import pytest

from listen.audio.write import write_clip
from listen.errors import RoundError, UsageError
from listen.lab.simulator.background import stretch
from listen.lab.simulator.draw import POPULATIONS, draw
from listen.lab.simulator.render import render
from listen.lab.simulator.scene import Background, RoundSpec
from listen.lab.simulator.shops import family, population_of, recorded_leaks, recorded_shape, recordings, shops
from listen.lab.simulator.worlds.world import Wishes
from listen.signal.clip import Clip
from listen.trade.points import Kind, PathId, point

SHORT = Wishes(seconds=0.5)
NAMES = [
    "background-coffee.flac",
    "background-coffee-shop-b.flac",
    "background-rain.flac",
    "background-rain-b.flac",
    "background-rain-light.flac",
    "background-fire.flac",
    "background-fireplace-b.flac",
    "background-compressor-motor-01.flac",
    "background-compressor-motor-02.flac",
    "background-wind-b.flac",
    "background-storm.flac",
    "background-train.flac",
]


def drawn(seed: int, population: str = "tune") -> RoundSpec:
    return draw(np.random.default_rng(seed), population, wishes=SHORT)


def test_the_same_seed_gives_the_same_samples() -> None:
    """Also after the spec went through its JSON form, which is what is shipped beside the clips."""
    spec = drawn(4)
    again = msgspec.json.decode(msgspec.json.encode(drawn(4)), type=RoundSpec)
    assert spec == again
    first, second = render(spec), render(again)
    assert first.keys() == second.keys()
    assert all(np.array_equal(first[k].samples, second[k].samples) for k in first)


def test_another_seed_gives_other_samples() -> None:
    """Quiet clips of two rounds must not share noise, nor those of two points of one round."""
    spec = drawn(4)
    other = msgspec.structs.replace(spec, seed=spec.seed + 2)
    one, two = render(spec), render(other)
    key = next(iter(one))
    assert abs(np.corrcoef(one[key].samples, two[key].samples)[0, 1]) < 0.5
    quiets = [c.samples for (_, kind, n), c in one.items() if kind == Kind.QUIET and n == 1]
    assert not any(np.array_equal(quiets[0], q) for q in quiets[1:])


def test_populations_share_no_seed_shop_microphone_or_leak() -> None:
    """Held-out means held out."""
    tune = [drawn(n, "tune") for n in range(40)]
    report = [drawn(n, "report") for n in range(40)]
    assert not {s.seed for s in tune} & {s.seed for s in report}
    assert {s.seed % 2 for s in tune} == {0} and {s.seed % 2 for s in report} == {1}
    assert not {s.microphone.name for s in tune} & {s.microphone.name for s in report}
    assert not shops()["tune"].keys() & shops()["report"].keys()
    shapes = [w.sound(np.random.default_rng(1), "intake-valve", 0.8).shape for w in POPULATIONS.values()]
    ducts = [w.duct(np.random.default_rng(1), "intake") for w in POPULATIONS.values()]
    assert shapes[0] != shapes[1] and ducts[0] != ducts[1]


def test_unknown_population_is_refused() -> None:
    """A typing error must not silently make a third population."""
    with pytest.raises(UsageError, match="tune report"):
        draw(np.random.default_rng(0), "test")


def test_truths_come_in_their_stated_shares() -> None:
    """The bench's rates of sound cylinders and pairs are those written down."""
    rng = np.random.default_rng(2)
    counts: Counter[str] = Counter()
    for _ in range(400):
        paths = draw(rng, "tune", wishes=SHORT).truth.paths
        single = str(paths[0]) if paths[0] in ("none", "fitting", "set-up") else "single"
        counts["pair" if len(paths) > 1 else single] += 1
    shares = {k: v for k, v in POPULATIONS["tune"].rates.items() if k in ("none", "pair", "fitting", "set-up")}
    for kind, share in {**shares, "single": 1.0 - sum(shares.values())}.items():
        assert counts[kind] / 400 == pytest.approx(share, abs=0.07), kind


def test_truth_is_among_what_the_points_can_speak_of() -> None:
    """A coolant leak without a radiator to listen at would be no fair question."""
    rng = np.random.default_rng(3)
    for _ in range(200):
        spec = draw(rng, "report", wishes=SHORT)
        own = {path for p in spec.points for path in point(p.point).row.own}
        assert set(spec.truth.paths) <= own | {PathId.NONE, PathId.FITTING, PathId.SET_UP}
        assert 3 <= len(spec.points) <= 6


def test_related_recordings_never_fall_on_both_sides(tmp_path: Path) -> None:
    """Two cuts of one rain would leak the test into the tuning."""
    for name in NAMES:
        (tmp_path / name).touch()
    sides = {p: recordings(tmp_path, p) for p in ("tune", "report")}
    assert sorted(f.name for files in sides.values() for f in files) == sorted(NAMES)
    families = {p: {family(f) for f in files} for p, files in sides.items()}
    assert not families["tune"] & families["report"]
    assert {family(Path(n)) for n in NAMES if "fire" in n} == {"fire"}
    assert family(Path("background-storm.flac")) == family(Path("background-wind-b.flac"))


def test_a_new_recording_moves_no_other(tmp_path: Path) -> None:
    """Else a bench of last month could not be compared with today's."""
    before = {name: population_of(Path(name)) for name in NAMES}
    for name in [*NAMES, "background-anvil.flac"]:
        (tmp_path / name).touch()
    after = {f.name: p for p in ("tune", "report") for f in recordings(tmp_path, p)}
    assert {name: after[name] for name in NAMES} == before


def test_a_folder_without_recordings_says_so(tmp_path: Path) -> None:
    """One clear sentence instead of an empty draw."""
    with pytest.raises(RoundError, match="none for the population"):
        recordings(tmp_path, "tune")


def ramp_file(folder: Path, seconds: float, rate_hz: int = 48_000) -> Path:
    """A recording whose samples tell their place."""
    path = folder / "background-train.flac"
    n = round(seconds * rate_hz)
    rng = np.random.default_rng(0)
    write_clip(path, Clip.of(np.linspace(-0.4, 0.4, n) + 1e-3 * rng.standard_normal(n), rate_hz))
    return path


def test_a_stretch_is_contiguous_in_time_and_uses_no_sample_twice(tmp_path: Path) -> None:
    """Quiet, air and quiet follow each other on the tape as they would in the shop."""
    background = Background(name="tape", file=str(ramp_file(tmp_path, 3.0)))
    pieces = stretch(background, np.random.default_rng(1), [20_000, 30_000, 20_000], 48_000)
    joined = np.concatenate(pieces)
    assert len(joined) == 70_000
    whole = stretch(background, np.random.default_rng(1), [70_000], 48_000)[0]
    assert np.array_equal(joined, whole)


def test_a_recording_too_short_is_refused_in_words(tmp_path: Path) -> None:
    """Repeating samples would correlate quiet and air clips."""
    background = Background(name="tape", file=str(ramp_file(tmp_path, 1.0)))
    with pytest.raises(RoundError, match=r"1\.0 s long.*need 1\.5 s"):
        stretch(background, np.random.default_rng(1), [36_000, 36_000], 48_000)


def test_draw_makes_clips_shorter_for_a_short_recording(tmp_path: Path) -> None:
    """A five-second tape still gives a bracketed round."""
    ramp_file(tmp_path, 3.1, rate_hz=44_100)
    side = population_of(Path("background-train.flac"))
    for seed in range(5):
        spec = draw(np.random.default_rng(seed), side, backgrounds=tmp_path)
        for p in spec.points:
            assert sum(t.seconds for t in p.takes) <= 3.1
        assert all(c.rate_hz == spec.rate_hz for c in render(spec).values())


def test_recorded_hisses_lend_their_spectra_and_stay_on_one_side(tmp_path: Path) -> None:
    """A blue recording gives blue leaks, to one population only; without the folder nothing changes."""
    n, rate_hz = 48_000, 48_000
    blue = np.diff(np.random.default_rng(0).standard_normal(n + 1)) * 0.05
    for name in ("hiss-balloon.flac", "hiss-torch.flac"):
        write_clip(tmp_path / name, Clip.of(blue, rate_hz))
    sides = [recorded_leaks(tmp_path, p) for p in ("tune", "report")]
    assert sorted(f.name for files in sides for f in files) == ["hiss-balloon.flac", "hiss-torch.flac"]
    assert not set(sides[0]) & set(sides[1])
    at = recorded_shape(tmp_path / "hiss-torch.flac")
    octave = at[14] - at[12]  # 4 kHz to 8 kHz: a difference rises 6 dB an octave there
    assert octave == pytest.approx(6.0, abs=1.5)
    rng = np.random.default_rng
    with_leaks = [draw(rng(s), "tune", leaks=tmp_path, wishes=SHORT) for s in range(6)]
    assert [draw(rng(s), "tune", leaks=tmp_path, wishes=SHORT) for s in range(6)] == with_leaks
    assert with_leaks != [drawn(s) for s in range(6)]
    (tmp_path / "none").mkdir()
    assert draw(rng(1), "tune", leaks=tmp_path / "none", wishes=SHORT) == drawn(1)
