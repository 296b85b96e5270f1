"""What a round is judged by, with the numbers written out: what is hiss at the radiator, what silence goes with."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import msgspec
import numpy as np
import pytest

from listen.errors import RoundError
from listen.judge.evidence import PointEvidence
from listen.judge.grounds import Ground
from listen.judge.result import BubbleRates, PointResult, RoundResult, Verdict
from listen.rounds.describe import unseen_sentence
from listen.rounds.evaluate import _plain, evaluate
from listen.rounds.loose import read_folder
from listen.rounds.model import Facts
from listen.rounds.slips import copies, labels
from listen.rounds.slips.air_proof import air_doubted
from listen.rounds.slips.copies import same_sound
from listen.rounds.slips.gain import other_gain
from listen.rounds.slips.labels import swapped_labels
from listen.rounds.slips.quiet_air import quiet_with_air
from listen.rounds.slips.slip import RoundClip
from listen.rounds.weigh import _reference, grounds, weigh, zero_dbfs
from listen.signal.clip import Clip
from listen.signal.clip_print import ClipPrint
from listen.signal.flags import Flag
from listen.signal.part_time import louder_part
from listen.signal.point import measure_point
from listen.trade.points import Kind, point
from tests.rounds.made import RATE_HZ, noise, plain


def shaped(centre_hz: float, seconds: float, octaves: float = 0.15) -> np.ndarray:
    """A hiss about one frequency."""
    hiss = np.fft.rfft(noise(4, seconds))
    hz = np.fft.rfftfreq(round(seconds * RATE_HZ), 1 / RATE_HZ)
    return np.fft.irfft(2.0 * np.exp(-0.5 * (np.log2(np.maximum(hz, 1.0) / centre_hz) / octaves) ** 2) * hiss)


def decibans(point: str, centre_hz: float) -> float:
    """How much a hiss about one frequency speaks for air at a point, against silence."""
    table_db = by_level_db(point, shaped(centre_hz, 3.0))
    return float(table_db.max() - table_db[0])


def by_level_db(point: str, hiss: np.ndarray) -> np.ndarray:
    """Likelihood of each level of hiss at a point, in decibans, drift summed over [shape=(N,)]."""
    shop = [noise(seed, len(hiss) / RATE_HZ) for seed in (1, 2, 3)]
    takes = [(Kind.QUIET, shop[0]), (Kind.AIR, shop[1] + hiss), (Kind.QUIET, shop[2])]
    found = weigh([measure_point(point, [(kind, Clip.of(x, RATE_HZ)) for kind, x in takes])], Facts()).evidence
    air = found.points[0].air
    assert air is not None
    return np.asarray(10.0 / np.log(10.0) * np.logaddexp.reduce(air + found.states[:, None], axis=0))


def test_at_the_radiator_only_what_lies_above_four_kilohertz_is_hiss() -> None:
    """Bubbles and slosh fill the bands below: what lies there speaks at the intake only."""
    assert [decibans("intake", hz) > 6.0 for hz in (1600.0, 5000.0)] == [True, True]
    assert [decibans("radiator", hz) > 6.0 for hz in (1600.0, 3150.0, 5000.0)] == [False, False, True]


def doubted(
    no_air_db: float, *, heard: bool = False, whistle_db: float | None = None, bubbles: bool = False, **facts: Any
) -> str:
    takes = SimpleNamespace(point="intake", whistle_db=whistle_db, locked={})
    point: Any = SimpleNamespace(excess=SimpleNamespace(detected=heard), takes=takes)
    found = air_doubted([point], Facts(**facts), no_air_db, bubbles=bubbles)
    return found.flag.flag if found else ""


def test_the_air_is_doubted_from_six_decibans_and_where_neither_ear_nor_gauge_shows_it() -> None:
    assert [doubted(db, loss_percent=9.0) for db in (5.9, 6.1)] == ["", "air-not-heard"]
    """Beside a hiss that was found only from ten: it may be a stranger's sound, but most are the leak's own."""
    assert [doubted(db, heard=True, loss_percent=60.0) for db in (9.9, 10.1)] == ["", "air-not-heard"]
    assert [doubted(-30.0), doubted(-30.0, heard=True)] == ["air-unproven", ""]


def test_a_needle_that_followed_bubbles_and_a_whistle_prove_the_air() -> None:
    assert [doubted(9.0, air_followed=True), doubted(9.0, bubbles=True), doubted(9.0, whistle_db=-40.0)] == [""] * 3


def walked_point(*, heard: bool = False, whistle_db: float | None = None, switched: bool = False) -> Any:
    takes = SimpleNamespace(point="tailpipe", whistle_db=whistle_db, locked={Kind.AIR: None} if switched else {})
    return SimpleNamespace(excess=SimpleNamespace(detected=heard), takes=takes)


def test_of_several_points_one_hiss_or_one_whistle_is_enough_to_show_the_air() -> None:
    silent, hiss, sings = walked_point(), walked_point(heard=True), walked_point(whistle_db=-40.0)
    assert air_doubted([silent, hiss], Facts(), -30.0) is None
    assert air_doubted([silent, hiss], Facts(loss_percent=9.0), 8.0) is None
    assert air_doubted([silent, sings], Facts(loss_percent=9.0), 30.0) is None
    unproven = air_doubted([silent, silent], Facts(), -30.0)
    assert unproven is not None and (unproven.flag.value, unproven.flag.limit) == (0.0, 1.0)


def test_what_is_to_be_done_about_the_air_goes_by_how_it_was_taken_and_by_what_was_read() -> None:
    """The valve only where every point was switched; the loss only where one was read."""

    def words(*switched: bool, **facts: Any) -> str:
        found = air_doubted([walked_point(heard=True, switched=s) for s in switched], Facts(**facts), 11.0)
        assert found is not None
        return found.flag.text

    assert "watch the tester's needle" in words(True, True)
    assert "walk both again" in words(True, False) and "walk both again" in words(False, False)
    assert "a cylinder that loses 9 % worse" in words(False, loss_percent=9.0)
    assert "a cylinder worse" in words(False)


def test_the_zero_of_levels_is_a_hiss_as_loud_as_the_mean_background_in_bands_that_are_heard() -> None:
    assert zero_dbfs(np.full(13, 1e-4)) == pytest.approx(-40.0)
    assert zero_dbfs(np.array([*[1e-4] * 5, *[np.inf] * 8])) == pytest.approx(-40.0)
    # A band ten times as loud hides a hiss of its level: the softer one counts for most of it.
    assert zero_dbfs(np.array([1e-4, 1e-3])) == pytest.approx(-37.4, abs=0.01)
    assert zero_dbfs(np.full(13, np.inf)) == 0.0


def ground(
    *,
    detected: bool | None = True,
    followed: bool = False,
    found: bool | None = None,
    clipped_from_db: float | None = None,
) -> Ground:
    """What one point can carry; ``detected`` None: its clips gave no excess, ``found`` None: it was walked."""
    locked = {} if found is None else {Kind.AIR: SimpleNamespace(found=found)}
    excess = SimpleNamespace(detected=detected, ci95_db=(2.0, 6.0), detection_limit_db=1.5)
    takes = SimpleNamespace(point="intake", locked=locked, flags=(), whistle_db=None, whistle_hz=None, tones_hz=())
    measured: Any = SimpleNamespace(
        takes=takes,
        contrast=object(),
        excess=None if detected is None else excess,
        before_shut_off=None,
        clipped_from_db=clipped_from_db,
    )
    weighed: Any = SimpleNamespace(
        points=[measured], evidence=SimpleNamespace(points=[PointEvidence(point("intake"), np.zeros((1, 47)))])
    )
    (one,) = grounds(weighed, followed)
    return one


def test_a_point_speaks_from_the_lower_end_of_what_was_detected_there_or_of_a_clipped_clip() -> None:
    assert (ground().least_excess_db, ground().limit_db) == (2.0, 1.5)
    assert ground(detected=False).least_excess_db is None
    assert (ground(detected=None).least_excess_db, ground(detected=None).limit_db) == (None, 0.0)
    assert ground(detected=None, clipped_from_db=7.0).least_excess_db == 7.0


@pytest.mark.parametrize(
    ("point_id", "hz", "its_own", "speaks"),
    [("tailpipe", 3090.0, False, False), ("tailpipe", 3110.0, False, True), ("tailpipe", 5000.0, True, False)],
)
def test_a_whistle_speaks_for_a_point_only_where_no_rival_has_one(
    point_id: str, hz: float, its_own: bool, speaks: bool
) -> None:
    """What a fitting whistles is heard at several mouths, at one of them louder; where several have each a whistle of
    its own, tones come and go in the shop: no ground to name one of them."""
    bare: dict[str, Any] = {"locked": {}, "flags": ()}
    sings = SimpleNamespace(point="intake", whistle_db=-60.0, whistle_hz=3000.0, tones_hz=(3000.0,), **bare)
    own_hz = hz if its_own else None
    faint = SimpleNamespace(point=point_id, whistle_db=None, whistle_hz=own_hz, tones_hz=(hz,), **bare)
    rows: Any = {"contrast": object(), "excess": None, "before_shut_off": None, "clipped_from_db": None}
    air = np.zeros((1, 47))
    weighed: Any = SimpleNamespace(
        points=[SimpleNamespace(takes=takes, **rows) for takes in (sings, faint)],
        evidence=SimpleNamespace(points=[PointEvidence(point(p), air) for p in ("intake", point_id)]),
    )
    first, second = grounds(weighed, False)
    assert (first.whistles, first.speaks, second.speaks) == (True, speaks, False)


def test_nothing_followed_a_switched_point_only_where_neither_edge_hiss_nor_needle_did() -> None:
    silent: dict[str, Any] = {"found": False, "detected": False}
    assert ground(**silent).nothing_followed
    for more in ({"found": True}, {"detected": True}, {"followed": True}, {"found": None}):
        assert not ground(**silent | more).nothing_followed


def marked(at: str, kind: Kind, number: int, **levels: Any) -> Any:
    """A clip of which only its marks are known; all levels 0 dB unless told."""
    plain: dict[str, Any] = {"place_db": np.zeros(9), "wide_db": np.zeros(6), "course_db": np.zeros((12, 6))}
    plain |= {"ends": np.zeros((2, 0), np.complex64)} | levels
    return RoundClip(at, number, ClipPrint(kind, RATE_HZ, **plain))


def walked(**air: Any) -> list[Any]:
    """Quiet, air, quiet at four points; ``air`` are the marks of the intake's air clip."""
    walks = ((Kind.QUIET, 1), (Kind.AIR, 1), (Kind.QUIET, 2))
    every = [marked(at, kind, n) for at in ("intake", "tailpipe", "oil-filler", "radiator") for kind, n in walks]
    return [marked("intake", Kind.AIR, 1, **air) if i == 1 else c for i, c in enumerate(every)]


def test_one_clip_at_another_gain_is_noticed_from_3_5_db() -> None:
    """Or four and a half times the scatter of the round's clips; unless its bands moved apart by 0.8 dB and more."""
    assert [bool(other_gain(walked(place_db=np.full(9, db)))) for db in (3.3, 3.7, -3.3, -3.7)] == [
        False,
        True,
        False,
        True,
    ]
    ragged = np.tile([-1.0, 0.0, 1.0], 3)
    assert [bool(other_gain(walked(place_db=-4.0 + s * ragged))) for s in (0.75, 0.9)] == [True, False]
    assert [bool(other_gain(walked(place_db=12.0 + s * ragged))) for s in (0.75, 0.9)] == [True, False]
    assert [bool(other_gain(walked(place_db=4.0 + s * ragged))) for s in (0.5, 0.6)] == [True, False]
    assert [bool(other_gain(walked(place_db=-8.0 + s * ragged))) for s in (1.5, 1.8)] == [True, False]


def test_one_gain_moves_a_quiet_clips_hiss_as_its_rumble_within_2_db_or_three_tenths() -> None:
    """A lorry that passes moves the rumble alone."""

    def noticed(change_db: float, hiss_db: float) -> bool:
        clips = walked(place_db=np.full(9, change_db / 2), wide_db=np.full(6, change_db / 2))  # between its quiet clips
        clips[0] = marked("intake", Kind.QUIET, 1, place_db=np.full(9, change_db), wide_db=np.full(6, hiss_db))
        return other_gain(clips) is not None

    assert [noticed(4.0, hiss_db) for hiss_db in (1.9, 2.1, 5.9, 6.1)] == [False, True, True, False]
    assert [noticed(10.0, hiss_db) for hiss_db in (6.9, 7.1, 12.9, 13.1)] == [False, True, True, False]


def test_a_gain_moves_the_four_lowest_bands_as_it_moves_all() -> None:
    """Two of them that stood still are half: 5 dB in all others is none."""
    still = np.array([5.0, 5.0, 0.0, 0.0, 5.0, 5.0, 5.0, 5.0, 5.0])
    assert [bool(other_gain(walked(place_db=db))) for db in (still, np.full(9, 5.0))] == [False, True]


def test_where_clips_scatter_by_a_decibel_another_gain_is_noticed_from_four_and_a_half() -> None:
    """Four in ten of the clips lie within 0.52 dB of their walk: what a normal scatter of 1 dB leaves."""

    def noticed(gain_db: float) -> bool:
        clips = walked()
        for i, c in enumerate(clips):
            if c.mark.kind is Kind.AIR:
                shift = gain_db if i == 1 else (0.5244, -0.5244)[i % 2]
                clips[i] = marked(c.at, Kind.AIR, 1, place_db=np.full(9, shift))
            elif c.number == 2:
                clips[i] = marked(c.at, Kind.QUIET, 2, place_db=np.full(9, (0.5244, -0.5244)[i % 2]))
        return other_gain(clips) is not None

    assert [noticed(db) for db in (4.6, 6.0)] == [False, True]


def test_a_band_that_scatters_by_a_fifth_of_a_decibel_counts_half_as_much_as_a_still_one() -> None:
    def take(scatter: float) -> Any:
        variance = np.full(13, 1e-12)
        variance[0] = scatter**2
        return SimpleNamespace(mean=np.ones(13), cov=np.diag(variance))

    def counts(scatter_db: float) -> float:
        quiet: Any = {Kind.QUIET: (take(scatter_db * np.log(10.0) / 10.0),)}
        at: Any = SimpleNamespace(takes=quiet, quiet_kind=Kind.QUIET, live=np.ones(13, dtype=bool))
        power = _reference([at])
        return float(power[1] / power[0])  # what a band counts goes by one over the power it is measured against

    assert [counts(db) for db in (0.02, 0.217, 0.65)] == pytest.approx([0.99, 0.5, 0.1], abs=0.01)


def air_in_quiet_db(hiss_db: float = 2.0, **told: float) -> float:
    """Evidence of a second quiet walk in which the intake hisses so much above the first, as its air clip does.

    ``others`` is what all air and later quiet clips rise by, ``apart`` what the air clip rises by further, ``place``
    what the quiet clip's place bands rise by, ``rumble`` what they do in both, ``ragged`` how unlike the walks' bands
    are at every point, ``swing`` how much every clip rises and falls.
    """
    ragged = told.get("ragged", 0.2) * np.random.default_rng(3).standard_normal((12, 15))
    swing = told.get("swing", 0.4) * np.tile([1.0, -1.0], 6)[:, None] * np.ones(6)
    clips = []
    for c, by in zip(walked(), ragged, strict=True):
        late = c.mark.kind is Kind.AIR or c.number == 2
        place, hiss = by[:9], by[9:] + told.get("others", 0.0) * late
        if c.at == "intake" and late:
            hiss = hiss + hiss_db + told.get("apart", 0.0) * (c.mark.kind is Kind.AIR)
            place = place + told.get("rumble", 0.0)
            place = place + told.get("place", 0.0) * (c.number == 2)
        clips.append(marked(c.at, c.mark.kind, c.number, place_db=place, wide_db=hiss, course_db=swing))
    found = quiet_with_air(clips)
    return found.flag.value if found else 0.0


def test_air_in_the_quiet_walk_is_told_by_a_hiss_that_is_the_air_walks() -> None:
    """From half a decibel on, unless the air clip or the rumble tell another story."""
    still = {"ragged": 0.005, "swing": 0.005}
    assert [air_in_quiet_db(db, **still) > 0 for db in (0.495, 0.505)] == [False, True]
    assert air_in_quiet_db(3.0, rumble=2.0) > 0.0  # a leak that reaches down to the rumble is one still
    assert [air_in_quiet_db(db) > 0 for db in (0.8, 1.6)] == [False, True]
    assert [air_in_quiet_db(apart=db) > 0 for db in (0.5, 2.0)] == [True, False]
    assert [air_in_quiet_db(place=db) > 0 for db in (0.3, 1.5)] == [True, False]
    assert [air_in_quiet_db(ragged=db) > 0 for db in (0.2, 0.4)] == [True, False]
    assert [air_in_quiet_db(swing=db) > 0 for db in (0.4, 4.0)] == [True, False]
    assert air_in_quiet_db(others=-4.0) == 0.0  # a shop that fell silent after the first walk
    assert air_in_quiet_db() == pytest.approx(57.7, abs=0.1)  # 27 nats, halved; 6 are enough


def test_what_comes_and_goes_within_an_air_clip_is_noticed_from_6_5_sigma_and_1_5_times_what_a_quiet_clip_does() -> (
    None
):
    """A stretch strays by 0.15 dB: 0.27 dB in a third of the clip is six and a half standard deviations."""
    still = np.zeros((12, 6))

    def swing(db: float, bands: int = 6) -> np.ndarray:
        return np.repeat([[0.0], [db], [0.0]], 4, axis=0) * (np.arange(6) < bands)

    assert [bool(louder_part(swing(db), [still, still])) for db in (0.26, 0.28)] == [False, True]
    short = [np.where(np.arange(12)[:, None] < n, 0.4, 0.0) * np.ones(6) for n in (2, 3)]  # half a second is a bang
    assert [bool(louder_part(db, [still, still])) for db in short] == [False, True]
    assert not louder_part(swing(9.0, bands=1), [still, still])  # a tool that was dropped rings in one band
    restless = [swing(2.0), *[still] * 7]
    assert [bool(louder_part(swing(db), restless)) for db in (2.9, 3.1)] == [False, True]
    assert not louder_part(swing(9.0), [])


def test_the_louder_part_of_an_air_clip_is_told_by_where_it_begins_and_ends() -> None:
    course = np.repeat([[0.0], [4.0], [0.0]], [2, 7, 3], axis=0) * np.ones(6)
    found = louder_part(course, [np.zeros((12, 6))])
    assert found is not None and (found.start, found.end) == pytest.approx((2 / 12, 9 / 12))
    assert found.within(24).tolist() == [4 <= frame < 18 for frame in range(24)]
    assert not found.flag.reject and "only the rest of the clip counts" in found.flag.text


def test_a_hiss_in_a_part_of_a_clip_is_seldom_the_air() -> None:
    """One time in ten the valve was opened late; beside a steady hiss it is something else."""
    hiss = shaped(4000.0, 4.0, 1.0)
    half = np.arange(len(hiss)) < len(hiss) / 2
    part_db, steady_db = by_level_db("intake", np.where(half, 0.0, 6.0 * hiss)), by_level_db("intake", 6.0 * hiss)
    loud = int(steady_db.argmax())
    assert steady_db[loud] - steady_db[0] > 60.0
    assert part_db[0] - part_db[loud - 1 : loud + 2].max() == pytest.approx(10.0 * np.log10(9.0), abs=2.0)
    beside_db = by_level_db("intake", np.where(half, 2.0 * hiss, 6.0 * hiss))
    assert abs(int(beside_db.argmax()) - int(by_level_db("intake", 2.0 * hiss).argmax())) <= 1
    assert beside_db.max() - beside_db[loud] > 15.0


def test_a_shop_that_rises_and_falls_is_heard_through_a_steady_hiss_without_doubt() -> None:
    """All bands rise and fall together by 3 dB; in the air clip a hiss of 20 dB fills half of them, and those stand."""
    rng = np.random.default_rng(7)

    def shop() -> np.ndarray:
        return np.repeat(rng.normal(0.0, 3.0, (6, 1)), 2, axis=0) + rng.normal(0.0, 0.05, (12, 6))

    hiss = np.where(np.arange(6) < 3, 0.0, 100.0)
    assert not louder_part(10.0 * np.log10(10.0 ** (shop() / 10.0) + hiss), [shop() for _ in range(8)])


def swap_db(
    apart_db: float, *, wrong: float = 1.0, lift_db: Any = 0.0, quiets: tuple[int, ...] = (1, 2), least_db: float = 0.0
) -> float:
    """Evidence, from the limit or ``least_db`` on, of air clips of two of three points ``wrong`` of the way to each
    other's places, one of them lifted by air."""
    shape = np.tile([1.0, -1.0, 0.0], 3)
    places = {"intake": 0.0 * shape, "tailpipe": apart_db * shape, "oil-filler": np.roll(apart_db * shape, 1)}
    other = {"intake": "tailpipe", "tailpipe": "intake", "oil-filler": "oil-filler"}
    clips = [marked(at, Kind.QUIET, n, place_db=db) for at, db in places.items() for n in quiets]
    for at, db in places.items():
        heard = db + wrong * (places[other[at]] - db) + lift_db * (at == "intake")
        clips.append(marked(at, Kind.AIR, 1, place_db=heard))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(labels, "SWAP_DB", least_db or labels.SWAP_DB)
        found = swapped_labels(clips)
    assert found is None or msgspec.json.encode(found.flag)  # JSON takes no numpy
    return found.flag.value if found else 0.0


def swap_noticed(apart_db: float, **told: Any) -> bool:
    return swap_db(apart_db, **told) > 0.0


def test_evidence_for_other_labels_is_what_the_places_bands_give() -> None:
    """Three places 3 dB apart: standing still, heard once, lifted by a leak that reaches down, in a louder clip."""
    lift_db = np.array([0, 0, 0, 2, 4, 6, 9, 12, 15])
    found = [swap_db(3.0, **told) for told in ({}, {"quiets": (1,)}, {"lift_db": lift_db}, {"lift_db": 7.0})]
    assert found == pytest.approx([39.27, 22.49, 41.53, 42.28], abs=0.05)


def test_labels_look_swapped_where_places_that_stand_still_differ_by_a_decibel() -> None:
    assert [swap_noticed(db) for db in (0.3, 1.0, 6.0)] == [False, True, True]
    assert [swap_noticed(db, quiets=(1,)) for db in (1.2, 1.4)] == [False, True]  # where nothing was repeated
    assert [swap_noticed(6.0, wrong=share) for share in (0.0, 0.5, 0.7)] == [False, False, True]  # half is no nearer


def test_what_comes_and_goes_at_other_points_too_speaks_less_for_swapped_labels() -> None:
    """A train in three clips that fit an exchange of two labels, then in clips of the other points as well."""
    train = 6.0 * np.array([0, 0, 0, 1, 1, 1, 1, 0, 0])
    heard = {("intake", Kind.QUIET, 2), ("intake", Kind.AIR, 1), ("tailpipe", Kind.QUIET, 1)}
    elsewhere = {("oil-filler", Kind.AIR, 1), ("radiator", Kind.AIR, 1)}

    def evidence_db(where: set[tuple[str, Kind, int]]) -> float:
        clips = [(c.at, c.mark.kind, c.number) for c in walked()]
        found = swapped_labels([marked(*c, place_db=train if c in where else 0.0 * train) for c in clips])
        return found.flag.value if found else 0.0

    assert evidence_db(heard) == pytest.approx(29.2, abs=0.5)
    assert evidence_db(heard | elsewhere) == pytest.approx(8.8, abs=0.5)


@pytest.mark.parametrize(("elsewhere_db", "noticed"), [(0.0, True), (30.0, False)])
def test_where_clips_of_other_points_do_not_fit_either_an_exchange_has_to_stand_out_against_them(
    elsewhere_db: float, noticed: bool
) -> None:
    """A compressor that comes and goes moves two points' clips as an exchange of their labels does."""
    sounds = np.array([0, 0, 0, 1, 1, 1, 1, 0, 0])
    exchange = {("intake", Kind.QUIET, 2), ("intake", Kind.AIR, 1), ("tailpipe", Kind.QUIET, 1)}
    rumbles = {("oil-filler", Kind.QUIET, 1): np.eye(9)[0], ("radiator", Kind.QUIET, 1): np.eye(9)[8]}
    clips = [(c.at, c.mark.kind, c.number) for c in walked()]
    moved_db = {c: 6.0 * sounds if c in exchange else elsewhere_db * rumbles.get(c, 0.0 * sounds) for c in clips}
    heard = [marked(*c, place_db=moved_db[c]) for c in clips]
    assert (swapped_labels(heard) is not None) is noticed
    assert type(labels._unrest_db(heard, (0.7, 1.0))) is float  # printed as a limit, and JSON takes no numpy


@pytest.mark.parametrize(("unrest_db", "limit_db"), [(9.9, 6.0), (10.1, 26.2)])
def test_in_a_restless_shop_the_limit_is_6_db_and_twice_what_speaks_against_the_other_clips_and_is_told(
    monkeypatch: pytest.MonkeyPatch, unrest_db: float, limit_db: float
) -> None:
    monkeypatch.setattr(labels, "_unrest_db", lambda *_: unrest_db)
    found = []
    for evidence_db in (limit_db - 0.1, limit_db + 0.1):
        monkeypatch.setattr(labels, "best_exchange", lambda *_, db=evidence_db, **__: ([0, 1], db))
        found.append(swapped_labels(walked()))
    assert found[0] is None and found[1] is not None
    flag = found[1].flag
    assert flag.limit == pytest.approx(limit_db) and f"limit {limit_db:.0f} dB" in flag.text


@pytest.mark.parametrize(("evidence_db", "noticed"), [(5.9, False), (6.1, True)])
def test_labels_look_swapped_from_evidence_of_6_db(
    monkeypatch: pytest.MonkeyPatch, evidence_db: float, noticed: bool
) -> None:
    monkeypatch.setattr(labels, "best_exchange", lambda *_, **__: ([0, 1], evidence_db))
    assert (swapped_labels(walked()) is not None) is noticed


def test_of_many_points_a_pair_has_to_fit_better_than_of_few_and_a_walk_one_label_late_is_noticed() -> None:
    """Each of n points as unlike all others; of n (n - 1) / 2 pairs one is right."""

    def evidence_db(count: int, *, late: bool = False) -> float:
        places = 4.0 * np.eye(9)[:count]
        order = [*range(1, count), 0] if late else [1, 0, *range(2, count)]
        return labels.best_exchange(places[order], places, 2, (0.7, 1.0), air=False)[1]

    two, five = evidence_db(2), evidence_db(5)
    assert two > 20.0
    assert two - five == pytest.approx(10.0 * np.log10(10.0), abs=2.5)  # the walk's own level is told by all, too
    assert evidence_db(5, late=True) > labels.SWAP_DB


@pytest.mark.parametrize(("alike", "noticed"), [(0.29, False), (0.31, True)])
def test_two_clips_are_one_sound_from_three_tenths_alike(
    monkeypatch: pytest.MonkeyPatch, alike: float, noticed: bool
) -> None:
    clips = walked()
    table = np.zeros((len(clips), len(clips)))
    table[1, 4] = alike
    monkeypatch.setattr(copies, "likeness", lambda _: table)
    found = same_sound(clips)
    assert (found is not None) is noticed
    assert found is None or "two recordings are below 30 %" in found.flag.text


def test_a_leak_that_reaches_down_to_the_rooms_sound_makes_no_swap_and_hides_none() -> None:
    lift_db = np.array([0, 0, 0, 2, 4, 6, 9, 12, 15])
    assert [swap_noticed(4.0, wrong=share, lift_db=lift_db) for share in (0.0, 1.0)] == [False, True]
    assert [swap_noticed(4.0, wrong=share, lift_db=np.maximum(lift_db, 3)) for share in (0.0, 1.0)] == [False, True]


def test_a_round_json_may_hold_a_megabyte(tmp_path: Path) -> None:
    folder = plain(tmp_path / "round")
    padded = '{"loss_percent": 20.0%s}'
    (folder / "round.json").write_text(padded % (" " * 999_000))
    assert read_folder(folder).facts.loss_percent == 20.0
    (folder / "round.json").write_text(padded % (" " * 1_001_000))
    with pytest.raises(RoundError, match="larger than 1000000 bytes"):
        read_folder(folder)


def heard_at(at: str, low_db: float, *, detected: bool = True) -> Any:
    """One point as measured, its hiss no fainter than ``low_db``."""
    excess = SimpleNamespace(detected=detected, ci95_db=(low_db, low_db + 2.0), detection_limit_db=1.5)
    return SimpleNamespace(takes=SimpleNamespace(point=at), excess=excess)


def test_a_sound_cylinders_sentence_says_where_it_is_louder_all_the_same_or_what_would_have_been_seen() -> None:
    """No "nothing beyond normal blow-by" above a table in which the intake has 9 dB."""
    weeping, filler = heard_at("intake", 3.1), heard_at("oil-filler", 9.0)
    assert unseen_sentence([weeping, filler]) == (
        "no more air than past sound cylinders that lose as little. The intake is louder with the air on"
    )
    assert "The intake and the tailpipe are louder" in unseen_sentence([weeping, filler, heard_at("tailpipe", 4.0)])
    for silent in (heard_at("intake", 2.9), heard_at("intake", 8.0, detected=False)):
        said = "nothing beyond normal blow-by. An excess of 1.5 dB would have been seen at every point"
        assert unseen_sentence([silent, filler]).startswith(said)


def test_decibels_are_given_to_a_thousandth(tmp_path: Path) -> None:
    (found,) = evaluate(read_folder(plain(tmp_path / "round"))).points
    assert found.excess_db is not None
    assert found.excess_db == round(found.excess_db, 3) != round(found.excess_db, 1)


def test_a_result_holds_plain_numbers_whatever_numpy_left_in_it() -> None:
    """``rank`` ended in the middle of a list at a drift of numpy's, and so would the journal."""
    flag = Flag(flag="unsteady", value=np.float64(3.0), limit=np.float64(2.0), text="")
    point = PointResult(
        point="intake",
        excess_db=np.float64(1.0),
        excess_ci95_db=(np.float64(0.5), 1.5),
        level_db=None,
        level_is_upper_bound=bool(np.True_),
        level_unit="dBFS",
        detected=True,
        detection_limit_db=None,
        drift_db=np.float64(0.2),
        bubbles_per_s=BubbleRates(0.0, 0.0),
        flags=(flag,),
    )
    verdict = Verdict(kind="unclear", paths=(), probability=np.float64(0.5), text="", next="")
    result = RoundResult(round="r", points=(point,), paths=(), verdict=verdict)
    with pytest.raises(TypeError):
        msgspec.json.encode(result)
    assert msgspec.json.decode(msgspec.json.encode(_plain(result)), type=RoundResult) == result
    wide = msgspec.structs.replace(point, excess_ci95_db=(-2e3, 2e3))
    with pytest.raises(RoundError, match="a number came out that cannot be stated"):
        _plain(msgspec.structs.replace(result, points=(wide,)))
