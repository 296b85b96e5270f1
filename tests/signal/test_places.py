"""What tells one microphone's place from another, and one clip from its copy, with the figures written out."""

from __future__ import annotations

import numpy as np
import pytest

from listen.signal.channels import channel_faults, heard, tapped
from listen.signal.clip import Clip
from listen.signal.clip_print import clip_print, likeness
from listen.signal.spectra import spectra
from listen.trade.points import Kind
from tests.signal.sounds import RATE_HZ, noise


def printed(x: np.ndarray, rate_hz: int = RATE_HZ):
    clip = Clip.of(x, rate_hz)
    return clip_print(Kind.QUIET, clip, spectra(clip), 0.46 * rate_hz)


def tone(hz: float, seconds: float = 1.0) -> np.ndarray:
    return 0.1 * np.sin(2 * np.pi * hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ) + noise(1, seconds, 1e-5, 0.0)


PLACES_HZ = (60, 110, 160, 210, 260, 330, 420, 540, 690, 900)
WIDE_HZ = (900, 1400, 2240, 3550, 5600, 8900, 14100)


@pytest.mark.parametrize("band", range(9))
def test_a_place_is_known_by_nine_bands_below_900_hz(band: int) -> None:
    hz = 0.5 * (PLACES_HZ[band] + PLACES_HZ[band + 1])
    assert int(np.argmax(printed(tone(hz)).place_db)) == band


@pytest.mark.parametrize("band", range(6))
def test_the_hiss_is_followed_in_six_wide_bands(band: int) -> None:
    found = printed(tone(np.sqrt(WIDE_HZ[band] * WIDE_HZ[band + 1])))
    assert int(np.argmax(found.wide_db)) == int(np.argmax(found.course_db.mean(axis=0))) == band


@pytest.mark.parametrize(("seconds", "stretches"), [(4.0, 16), (8.0, 32), (1.0, 8)])
def test_the_course_is_told_every_quarter_of_a_second_and_eight_times_at_least(seconds: float, stretches: int) -> None:
    assert abs(len(printed(noise(1, seconds)).course_db) - stretches) <= 1 and stretches >= 8


def test_what_a_rate_hardly_holds_is_left_out() -> None:
    """A wide band ends at 97 % of what is usable at most."""
    clip = Clip.of(noise(1, 1.0), RATE_HZ)
    assert len(clip_print(Kind.QUIET, clip, spectra(clip), 14_100 / 0.96).wide_db) == 6
    assert len(clip_print(Kind.QUIET, clip, spectra(clip), 14_100 / 0.98).wide_db) == 5


def test_a_copy_is_known_by_a_third_of_a_second_of_either_end() -> None:
    """Its other end cut, its gain changed; what lies further in than a third of a second tells nothing."""
    x = noise(1)
    third = round(0.341 * RATE_HZ)
    inside = np.concatenate([noise(2)[:third], x[third:-third], noise(3)[-third:]])
    alike = likeness([printed(p) for p in (x, 0.5 * x[RATE_HZ:], inside, noise(4))])
    assert alike[0, 1] > 0.9
    assert max(alike[0, 2], alike[0, 3]) < 0.1
    ends = printed(x).ends
    assert ends.shape == (2, 2389)  # 1 to 8 kHz of 16,384 samples
    assert printed(noise(1, rate_hz=8000), 8000).ends.shape[1] == 921 - 256  # of 2,048 samples, up to 0.45 of the rate


SHOP = np.random.default_rng(5)


def channels(levels_db: tuple[float, ...], seconds: float = 1.0) -> np.ndarray:
    n = round(seconds * RATE_HZ)
    gains = 0.01 * 10.0 ** (np.array(levels_db) / 20)
    return (SHOP.standard_normal((n, len(gains))) * gains).astype(np.float32)


def faults(samples: np.ndarray, before: np.ndarray | None = None) -> dict[int, str]:
    return channel_faults(heard(samples, RATE_HZ), range(samples.shape[1]), before)


@pytest.mark.parametrize(("below_db", "told"), [(28.0, False), (32.0, True)])
def test_a_channel_30_db_below_the_others_is_dead(below_db: float, told: bool) -> None:
    assert (list(faults(channels((0.0, 3.0, -below_db, -3.0)))) == [2]) is told


@pytest.mark.parametrize(("samples", "told"), [(3, False), (4, True)])
def test_four_samples_at_full_scale_clip(samples: int, told: bool) -> None:
    x = channels((0.0, 0.0))
    x[: samples * 100 : 100, 1] = 0.9995
    assert ("clips" in faults(x).get(1, "")) is told
    x[: samples * 100 : 100, 1] = 0.997
    assert faults(x) == {}


def test_knocks_in_two_of_six_pieces_move_no_place_and_in_three_do() -> None:
    x = channels((0.0,), 1.2)
    calm = heard(x, RATE_HZ)
    for at_s, moves in ((0.05, False), (0.45, False), (0.65, True)):
        x[round(at_s * RATE_HZ) :][:2000] *= 30.0
        assert bool(np.abs(heard(x, RATE_HZ).print_db - calm.print_db).max() > 3.0) is moves


@pytest.mark.parametrize(("hz", "band"), [(71.0, 0), (700.0, 7), (6800.0, 13)])
def test_a_channels_place_is_told_in_fourteen_bands_from_60_hz_to_8_khz(hz: float, band: int) -> None:
    found = heard(tone(hz, 3.0)[:, None].astype(np.float32), RATE_HZ).print_db[0]
    assert len(found) == 14 and int(np.argmax(found)) == band


def coloured(tilt_db: float, seconds: float = 1.0) -> np.ndarray:
    """Noise that is louder by ``tilt_db`` below 900 Hz, softer above."""
    spectrum = np.fft.rfft(0.01 * SHOP.standard_normal(round(seconds * RATE_HZ)))
    low = np.fft.rfftfreq(round(seconds * RATE_HZ), 1 / RATE_HZ) < 695  # in the middle of the fourteen bands
    spectrum *= 10.0 ** (np.where(low, tilt_db, -tilt_db) / 20)
    return np.fft.irfft(spectrum).astype(np.float32)


@pytest.mark.parametrize(("apart_db", "told"), [(1.0, False), (2.4, True)])
def test_channels_are_swapped_that_are_nearer_to_each_others_place_by_3_db(apart_db: float, told: bool) -> None:
    """Two places of which one is louder by 2.4 dB low down and softer above: 4.8 dB from the other in every band."""
    before = heard(np.stack([coloured(apart_db), coloured(-apart_db)], axis=1), RATE_HZ).print_db
    now = np.stack([coloured(-apart_db), coloured(apart_db)], axis=1)
    assert bool(faults(now, before)) is told
    assert faults(now[:, ::-1], before) == {}


@pytest.mark.parametrize(("over_db", "found"), [(30.0, None), (34.0, 1)])
def test_a_tap_stands_20_db_over_the_peaks_of_its_channel(over_db: float, found: int | None) -> None:
    """Peaks of steady noise lie 12 dB over its level: 32 dB over it."""
    x = channels((0.0, 0.0), 2.0)
    usual = np.sqrt(np.median(x[:, 1].astype(np.float64) ** 2))
    x[-1000, 1] = usual * 10.0 ** (over_db / 20)
    assert tapped(x, RATE_HZ) == found


@pytest.mark.parametrize(("apart_db", "found"), [(5.0, None), (7.0, 1)])
def test_a_tap_is_6_db_louder_than_in_any_other_channel(apart_db: float, found: int | None) -> None:
    x = channels((0.0, 0.0), 2.0)
    usual = np.sqrt(np.median(x.astype(np.float64) ** 2, axis=0))
    x[-1000] = usual * 10.0 ** (np.array([50.0 - apart_db, 50.0]) / 20)
    assert tapped(x, RATE_HZ) == found


@pytest.mark.parametrize(("ago_s", "found"), [(0.25, 1), (0.35, None)])
def test_a_tap_was_within_three_tenths_of_a_second(ago_s: float, found: int | None) -> None:
    x = channels((0.0, 0.0), 2.0)
    x[-round(ago_s * RATE_HZ), 1] = 0.9
    assert tapped(x, RATE_HZ) == found
    assert tapped(x[: round(0.8 * RATE_HZ)], RATE_HZ) is None
