"""What each figure of the switched take promises, by numbers written out: halved or doubled, one of these fails."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from listen.signal import locked_fit, switched, switched_blocks, switching_found
from listen.signal.bands import BANDWIDTH_HZ
from listen.signal.clip import Clip
from listen.signal.locked_fit import Fit, fit
from listen.signal.switched import lock
from listen.signal.switched_clip import SwitchedClip, off_and_on
from listen.signal.switched_common import common_level
from listen.signal.switching import Timeline, share_at
from listen.trade.points import Kind
from tests.signal.switching import made

TOLD = Timeline.commanded([(10.0, 20.0)])
FOUND = Timeline(np.array([10.0]), np.array([20.0]), True, 1.0)


def _at(*t_s: float) -> np.ndarray:
    return np.array(t_s)


# ---------------------------------------------------------------- when the air sounds, and what is left out


def test_hiss_rises_in_a_sixth_of_a_second() -> None:
    """63 % after 0.15 s."""
    assert share_at(_at(10.15), FOUND)[0] == pytest.approx(0.632, abs=0.001)


def test_a_commanded_hand_is_given_a_tenth_to_six_tenths_of_a_second() -> None:
    """Twelve ways it may have been, four reactions by three decays: so many have air at each moment."""
    begun = (TOLD.shares(_at(10.08, 10.12, 10.23, 10.27, 10.38, 10.42, 10.58, 10.62)) > 0).sum(axis=0)
    assert begun.tolist() == [0, 3, 3, 6, 6, 9, 9, 12]
    assert TOLD.edges_s == pytest.approx([10.3375, 20.3375]), "the mean of them stands for the edge itself"
    left = TOLD.shares(_at(21.0))[:3, 0]  # the earliest hand's: 0.9 s after it shut the valve
    assert left == pytest.approx(np.exp([-0.9 / 0.15, -0.9 / 0.4, -0.9]), rel=1e-6)


def test_found_edges_may_be_off_by_a_twentieth_of_a_second_and_a_decay_by_a_seventh() -> None:
    assert (FOUND.shares(_at(9.94, 9.96, 10.04, 10.06)) > 0).sum(axis=0).tolist() == [0, 2, 2, 4]
    assert FOUND.shares(_at(20.95))[:2, 0] == pytest.approx(np.exp([-1.0 / 0.85, -1.0 / 1.15]), rel=1e-3)


def test_what_is_too_near_an_edge_or_a_tone_is_left_out() -> None:
    near = FOUND.guarded(_at(9.94, 9.96, 10.29, 10.31))
    assert near.tolist() == [False, True, True, False]
    assert TOLD.guarded(_at(9.94, 9.96, 10.24, 10.26)).tolist() == [False, True, True, False]


# ---------------------------------------------------------------- edges found in the sound


def test_blocks_are_a_tenth_of_a_second() -> None:
    assert switching_found.centres_s(2) == pytest.approx([0.05, 0.15])


def test_a_knock_of_two_blocks_is_no_edge_and_one_of_three_is() -> None:
    z = np.ones(40)
    z[10:12] = z[20:23] = 9.0
    smooth = switching_found._running_median(z)
    assert smooth[8:14].tolist() == [1.0] * 6 and (smooth[18:26] > 1).any()


def test_the_level_between_clicks_is_what_counts() -> None:
    """Three frames in five are clicks: the level is that of the other two; a single dip is no level."""
    clicks = switching_found._between_clicks(np.tile([1.0, 1.0, 9.0, 9.0, 9.0], 6))
    assert clicks[5:-5].tolist() == [1.0] * 20
    dips = np.ones(30)
    dips[10] = dips[16] = 0.0
    assert switching_found._between_clicks(dips).tolist() == [1.0] * 30
    assert switching_found._between_clicks(np.array([1.0, 1, 9, 9, 9, 9, 1, 1]))[4] == 9.0, "four are no clicks"


@pytest.mark.parametrize(("blocks", "stays"), [(7, False), (9, True)])
def test_a_visit_of_less_than_eight_tenths_of_a_second_is_no_half_cycle(blocks: int, stays: bool) -> None:
    on = np.zeros(60, dtype=bool)
    on[20 : 20 + blocks] = True
    assert switching_found._long_visits(on).any() == stays


@pytest.mark.parametrize(
    ("up", "rough", "apart"), [(0.15, 0.02, False), (0.2, 0.02, True), (0.072, 1e-4, False), (0.12, 1e-4, True)]
)
def test_heights_stand_apart_by_six_deviations_and_four_tenths_of_a_decibel(
    up: float, rough: float, apart: bool
) -> None:
    """0.02 from block to block is a deviation of 0.030, six are 0.18; 0.072 is 0.3 dB, 0.12 is 0.49."""
    on = np.arange(80) % 40 >= 20
    z = 1.0 + 0.5 * rough * (-1.0) ** np.arange(80) + up * on
    assert switching_found._apart(z, on) == apart


@pytest.mark.parametrize(("spread", "uneven"), [(0.4, False), (0.6, True)])
def test_times_that_differ_by_more_than_half_their_mean_are_nobodys(spread: float, uneven: bool) -> None:
    spans = 2.0 * (1.0 + spread * np.array([-1.0, 1.0, -1.0, 1.0]))
    opened = np.cumsum([0.0, *(spans[:-1] + 2.0)])
    assert switching_found._uneven(opened, opened + spans) == uneven


EVEN = Timeline.commanded([(5.0 * i + 2.5, 5.0 * i + 5.0) for i in range(6)])


@pytest.mark.parametrize(
    ("late_s", "turns", "ours"),
    [
        (0.3, 6, True),
        (0.3, 4, True),
        (0.3, 3, False),
        (1.5, 6, True),
        (1.7, 6, False),
        (-0.2, 6, True),
        (-0.4, 6, False),
    ],
)
def test_edges_follow_their_commands_nearly_all_and_in_time(late_s: float, turns: int, ours: bool) -> None:
    """Four of six turns do, three do not; 0.3 s early to 1.6 s late."""
    opened, shut = EVEN.opened_s[:turns] + late_s, EVEN.shut_s[:turns] + late_s
    assert switching_found._ours(opened, shut, EVEN) == ours


@pytest.mark.parametrize(("apart_s", "ours"), [(1.3, True), (1.5, False)])
def test_edges_differ_among_themselves_by_at_most_what_a_hand_does(apart_s: float, ours: bool) -> None:
    late = 0.4 + apart_s * np.array([0.0, 0.5, 0.5, 0.5, 0.5, 1.0])
    assert switching_found._ours(EVEN.opened_s + late, EVEN.shut_s + 0.4, EVEN) == ours


@pytest.mark.parametrize(("height", "told"), [(3.5, False), (7.0, True)])
def test_a_decay_is_told_where_the_heights_stand_five_deviations_apart(height: float, told: bool) -> None:
    t_s = switching_found.centres_s(325)
    real = Timeline(EVEN.opened_s, EVEN.shut_s, True, 0.5)
    noise = np.random.default_rng(3).standard_normal(len(t_s))
    seen = switching_found._with_decay(10.0 + noise + height * share_at(t_s, real), t_s, replace(real, decay_s=None))
    assert (seen.decay_s is not None) == told


def test_decays_are_sought_from_a_twentieth_of_a_second_to_five() -> None:
    """And half-way down up to one and a half seconds behind the shut-off."""
    assert switching_found.DECAYS_S[[0, -1]] == pytest.approx([0.05, 5.0]) and len(switching_found.DECAYS_S) == 24
    assert pytest.approx(np.arange(16) * 0.1) == switching_found.LATE_S


# ---------------------------------------------------------------- the fit

N, LONG_S, PERIOD_S = 320, 32.0, 5.0
T_S = (np.arange(N) + 0.5) * LONG_S / N
ON = ((T_S % PERIOD_S) > 2.5).astype(float)


def _fit(y: np.ndarray) -> Fit:
    return fit(y[:, None], ON, T_S, np.full(N, LONG_S / N), PERIOD_S, np.ones(1))


def _walk(seed: int, rho: float) -> np.ndarray:
    """White noise of variance one a second, and a walk that gains ``rho`` times that in a second [shape=(N,)]."""
    rng, step = np.random.default_rng(seed), LONG_S / N
    white, walk = rng.standard_normal((2, N))
    return np.asarray(white / np.sqrt(step) + np.cumsum(walk) * np.sqrt(rho * step))


def test_noise_and_drift_count_as_seventy_degrees_of_freedom_a_restless_shop_as_fifteen() -> None:
    """Ten series beside the switching, and sixty or five for the rest; from fifty times the noise on it is restless."""
    for seed in range(3):
        assert _fit(_walk(seed, 0.0)).dof == 70.0 and _fit(_walk(seed, 5.0)).dof == 70.0
    assert max(_fit(_walk(seed, 3000.0)).dof for seed in range(6)) == 15.0
    rough = [_fit(_walk(seed, rho)).dof <= 15.0 for rho in (33.0, 75.0) for seed in range(10)]
    assert sum(rough[:10]) <= 3 and sum(rough[10:]) >= 7, rough


def test_the_walk_is_sought_from_none_to_ten_thousand_times_the_noise() -> None:
    assert locked_fit.WALK_GRID == (0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 1e3, 1e4)


@pytest.mark.parametrize(("walk", "low", "high"), [(0.0, 1.0, 1.02), (6.0, 1.025, 1.08)])
def test_not_knowing_how_the_shop_walks_widens_the_interval(walk: float, low: float, high: float) -> None:
    """A shop that drifts by 0.5 dB a minute pays 4 % of the variance, a still one next to nothing."""
    rng = np.random.default_rng(3)
    t_s = np.arange(120) * 0.25
    on = np.floor(t_s / 2.5) % 2
    size, turn = np.linalg.eigh(np.minimum.outer(t_s, t_s) * 0.25)
    wider = []
    for _ in range(100):
        steps = rng.standard_normal((2, len(t_s))) * np.sqrt([[4.0], [0.25 * walk]])
        z, x = (0.5 * turn.T @ v for v in (steps[0] + steps[1].cumsum(), np.stack([np.ones_like(on), on], axis=1)))
        wider.append(locked_fit._usual_rho(z, x, np.maximum(size, 0.0))[1])
    assert low < np.mean(wider) < high, np.mean(wider)


def test_the_series_beside_are_one_and_two_steps_off_and_one_out_of_step() -> None:
    """Steps of one over the take's length; cosines and sines."""
    whole_s = T_S[-1] - T_S[0] + 2.5
    hz = np.array([0.2 - 2 / whole_s, 0.2 - 1 / whole_s, 0.2 + 1 / whole_s, 0.2 + 2 / whole_s, 0.2])
    turns = 2 * np.pi * np.outer(T_S, hz)
    assert locked_fit._beside(T_S, PERIOD_S) == pytest.approx(np.column_stack([np.cos(turns), np.sin(turns)]))


@pytest.mark.parametrize(("share", "dof"), [(2.5, 70.0), (4.8, 10.0)])
def test_much_more_beside_the_switching_than_noise_makes_and_only_that_counts(share: float, dof: float) -> None:
    """Three times as much and more."""
    beside, _ = np.linalg.qr(np.column_stack([np.ones(N), ON, locked_fit._beside(T_S, PERIOD_S)]))
    y = _walk(1, 0.0)
    y -= beside @ (beside.T @ y)
    sd = float(np.std(y))
    y += beside[:, 2:] @ np.full(10, sd * np.sqrt(share))
    assert _fit(y).dof == dof


def test_luck_beside_the_switching_makes_a_limit_no_better_than_by_two_fifths() -> None:
    """In a restless shop nothing beside the switching: the variance is taken as six tenths of the rest's."""
    mean, share = locked_fit._mean_square(np.zeros(N), np.ones((N, 1)), locked_fit._beside(T_S, PERIOD_S))
    assert (mean, share) == (0.0, 10)
    y, kept = _walk(2, 3000.0), []
    for least in (0.6, 1e-9):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(locked_fit, "_mean_square", lambda *_: (0.0, 10))
            if least < 0.6:
                patch.setattr(locked_fit, "LEAST_SCALE", least)
            kept.append(float(_fit(y).cov[0, 0]))
    assert kept[0] / kept[1] == pytest.approx(0.6 / (5.0 / 15.0), rel=1e-6)


def test_one_moment_alone_counts_as_two_degrees_of_freedom() -> None:
    assert locked_fit._effective(np.eye(N)[7]) == 2.0


@pytest.mark.parametrize(("own", "kept"), [(0.15, 0), (0.25, 1)])
def test_a_series_of_which_less_than_a_fifth_is_its_own_is_left_out(own: float, kept: int) -> None:
    x, beside = np.eye(N)[:, :1], np.zeros((N, 1))
    beside[:2, 0] = np.sqrt(1.0 - own**2), own
    assert locked_fit._mean_square(np.zeros(N), x, beside)[1] == kept


# ---------------------------------------------------------------- from frames to the contrast


def _blocks(frames: np.ndarray, keep: np.ndarray) -> switched_blocks.Blocks:
    t_s = frames
    half = np.zeros(len(t_s), dtype=np.intp)
    return switched_blocks.blocks(np.ones((len(t_s), 2)), t_s, half, keep, np.ones((2, len(t_s))))


def test_a_block_is_a_quarter_of_a_second_and_needs_three_frames() -> None:
    t_s = (np.arange(100) + 0.5) * 0.025
    assert len(_blocks(t_s, np.ones(100, dtype=bool)).t_s) == 10
    two, three = (np.arange(100) % 10 < n for n in (2, 3))
    assert len(_blocks(t_s, two).t_s) == 0 and len(_blocks(t_s, three).t_s) == 10


def test_two_cycles_are_a_switched_take() -> None:
    m = made(1, -3.0, cycles=2)
    found = lock(m.power, m.t_s, m.commanded, BANDWIDTH_HZ)
    assert found is not None and found.cycles == 2
    assert lock(m.power, m.t_s, Timeline.commanded([(2.5, 5.0)]), BANDWIDTH_HZ) is None


def _halves(level: np.ndarray) -> switched_blocks.Blocks:
    """One block a half cycle."""
    n, zero = len(level), np.zeros(len(level))
    return switched_blocks.Blocks(
        level[:, None] - 1.0, zero, zero[None], np.arange(n) * 2.5, zero + 2.0, np.arange(n), np.ones(1)
    )


@pytest.mark.parametrize(("deviations", "out"), [(4.0, None), (6.5, 6)])
def test_a_half_cycle_leaves_the_line_by_five_deviations_before_it_is_left_out(
    deviations: float, out: int | None
) -> None:
    level = np.exp(np.tile([0.01, 0.01, -0.01, -0.01], 4)[:13])
    bends = [abs(np.log(level[h]) - np.log(level[h - 2])) for h in range(2, 13)]
    sigma = 1.4826 * float(np.median(bends))
    level[6] = np.exp(np.log(level[4]) + deviations * sigma)
    assert switched_blocks.standing_out(_halves(level), np.ones(1)) == out


def test_at_most_a_third_of_the_half_cycles_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four of thirteen, however many stand out."""
    monkeypatch.setattr(switched, "standing_out", lambda blocks, *_: int(blocks.half[-1]))
    m = made(12, None)
    found = lock(m.power, m.t_s, m.commanded, BANDWIDTH_HZ)
    assert found is not None and found.left_out == (9, 10, 11, 12)


def _pair(h: float, share: np.ndarray, left: np.ndarray) -> tuple[np.ndarray, ...]:
    """Quiet and air of one band, its blocks with air off holding ``share`` of the hiss and ``left`` beside it."""
    n = 2 * len(share)
    half = np.repeat([0, 1], len(share))
    shares = np.concatenate([share, np.ones(len(share))])
    made_ = switched_blocks.Blocks(
        np.zeros((n, 1)), shares, shares[None], np.arange(n) * 0.25, np.ones(n), half, np.ones(1)
    )
    one = np.ones((1, 1))
    found = Fit(np.array([h]), 1e-4 * one, 30.0, shares / (shares @ shares), np.concatenate([left, 0 * left])[:, None])
    return switched._pair(found, found, made_, np.ones(1), np.zeros(1))


def test_air_is_off_where_a_fiftieth_of_the_hiss_is_left() -> None:
    """Of a hiss as loud as the shop: 0.015 counts and 0.03 does not; of one ten times as loud a tenth of that."""
    share, left = np.array([0.9, 0.03, 0.015, 0.012, 0.008]), np.array([9.0, 0.5, 0.2, 0.1, 0.0])
    assert _pair(1.0, share, left)[0] == pytest.approx([1.1])
    assert _pair(10.0, 0.1 * share, left)[0] == pytest.approx([1.1])


def test_air_over_quiet_is_never_less_than_thirty_decibels_down() -> None:
    quiet, air, _, _ = _pair(-2.0, np.zeros(4), np.zeros(4))
    assert air / quiet == pytest.approx([1e-3])


def test_the_lower_end_of_what_is_claimed_lies_three_deviations_down() -> None:
    """From one and a half times the shop down by 0.309: the logarithm falls 12 % steeper than where it starts."""
    assert switched._steeper(np.array([0.5]), np.array([0.1]))[0] == pytest.approx(1.1198, abs=2e-4)


@pytest.mark.parametrize(("hiss_db", "against"), [(-16.0, True), (-19.0, False)])
def test_louder_with_the_air_off_is_told_from_five_deviations_on(hiss_db: float, against: bool) -> None:
    """-16 dB are seven, -19 three and a half."""
    told = []
    for seed in range(5):
        m = made(40 + seed, hiss_db)
        found = lock(m.power, m.t_s, Timeline(m.real.shut_s[:-1], m.real.opened_s[1:], True, 0.4), BANDWIDTH_HZ)
        assert found is not None
        told.append(found.against)
    assert told.count(against) >= 4


def test_clicks_that_a_hiss_covers_up_widen_its_interval() -> None:
    """A fifth of the shop's power in clicks that are left out with the air off and not with it on: as much of the
    hiss may be none, 0.4 dB of twice the shop's."""
    half = np.repeat([0, 1], 100)
    power, keep = np.ones((200, 2)), np.ones(200, dtype=bool)
    power[:100:5], keep[:100:5] = 2.0, False
    hidden = switched_blocks.hidden_under_hiss(power, half, keep, [])
    assert hidden == pytest.approx([0.2, 0.2])
    assert switched_blocks.hidden_under_hiss(power, 1 - half, keep, []) == pytest.approx([0.0, 0.0])


# ---------------------------------------------------------------- its two halves, and the other microphones


def test_halves_are_cut_where_the_hiss_has_died_and_joined_over_a_fiftieth_of_a_second() -> None:
    """Pieces of less than a tenth of a second are none."""
    rate, t_s = 8000, (np.arange(1000) + 0.5) * 0.01
    timeline = Timeline(_at(2.0, 6.0), _at(4.0, 8.0), True, 0.4)
    off, on = off_and_on(timeline, t_s)
    assert t_s[on][[0, -1]] == pytest.approx([2.305, 7.945]) and on.sum() == 2 * 165
    after = t_s[off & (t_s > 4.0) & (t_s < 6.0)]
    assert after[0] == pytest.approx(4.0 + 0.4 * np.log(1 / 0.2), abs=0.02)
    clip = Clip.of(np.zeros(10 * rate, dtype=np.float32), rate)
    halves = SwitchedClip(Kind.SWITCHED, clip, timeline).halves()
    assert halves is not None
    assert halves[1].seconds == pytest.approx(2 * 1.65 - 0.02, abs=1e-6)
    for on_s, pieces in ((0.43, 1), (0.48, 2)):
        short = Timeline(_at(2.0, 6.0), _at(4.0, 6.0 + on_s), True, 0.4)
        found = SwitchedClip(Kind.SWITCHED, clip, short).halves()
        assert found is not None and (found[1].seconds > 1.7) == (pieces == 2)


@pytest.mark.parametrize(("deviations", "serves"), [(2.0, True), (4.5, False)])
def test_a_microphone_that_hears_the_hiss_is_no_reference(deviations: float, serves: bool) -> None:
    """Three standard deviations of what follows the switching."""
    t_s = switching_found.centres_s(325)
    rng = np.random.default_rng(8)
    shop = 1.0 + 0.1 * np.sin(t_s / 4.0)
    own, other = shop * (1.0 + 0.01 * rng.standard_normal((2, len(t_s))))
    timeline, heard = Timeline(EVEN.opened_s, EVEN.shut_s, True, 0.4), np.zeros(len(t_s))
    free, share = ~timeline.guarded(t_s), timeline.share(t_s)

    def deviations_of(z: np.ndarray) -> float:
        y = (z / np.median(z) - 1.0)[:, None]
        f = fit(y[free], share[free], t_s[free], np.full(int(free.sum()), 0.1), 5.0, np.ones(1))
        return float(f.h[0] / np.sqrt(f.cov[0, 0]))

    low, high = -0.05, 0.05
    for _ in range(9):
        step = 0.5 * (low + high)
        heard = other + step * share
        low, high = (low, step) if deviations_of(heard) > deviations else (step, high)
    common = common_level([own, heard], 0, timeline)
    assert (common is not None) == serves and (common is None or len(common) == 32), "a level a second"
