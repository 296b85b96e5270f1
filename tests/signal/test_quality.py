"""Each clip flag fires on a clip made to deserve it, and none fires on a clean or merely louder one."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from listen.signal import quality_samples
from listen.signal.clip import Clip
from listen.signal.quality import check_clip
from listen.signal.quality_spectrum import usable_band_hz
from listen.signal.spectra import spectra

HOUSE = Path(__file__).parents[2]
RATE = 48_000
SECONDS = 4.0


def shop(rate_hz: int = RATE, seconds: float = SECONDS, seed: int = 1, slope: float = 1.0) -> np.ndarray:
    """A steady shop: Gaussian noise that falls by 10 dB * ``slope`` a decade above 100 Hz, -20 dBFS."""
    rng = np.random.default_rng(seed)
    n = int(rate_hz * seconds)
    spectrum = np.fft.rfft(rng.normal(size=n))
    f = np.fft.rfftfreq(n, 1 / rate_hz)
    spectrum *= np.maximum(f, 100.0) ** (-slope / 2) * (f > 20)
    x = np.fft.irfft(spectrum, n)
    return 0.1 * x / x.std()


def walled(x: np.ndarray, edge_hz: float, rate_hz: int = RATE) -> np.ndarray:
    """``x`` with nothing but a 16-bit recorder's floor above ``edge_hz``."""
    spectrum = np.fft.rfft(x)
    spectrum[np.fft.rfftfreq(len(x), 1 / rate_hz) > edge_hz] = 0
    return np.fft.irfft(spectrum, len(x)) + np.random.default_rng(9).normal(size=len(x)) * 1e-5


def suppressed(x: np.ndarray, over: float = 1.5) -> np.ndarray:
    """Textbook spectral subtraction: the mean magnitude, ``over`` times, taken off each cell; floor -40 dB."""
    n, hop = 1024, 512
    window = np.sin(np.pi * (np.arange(n) + 0.5) / n)
    starts = range(0, len(x) - n, hop)
    cells = np.fft.rfft([window * x[i : i + n] for i in starts])
    gain = np.maximum(1 - over * np.abs(cells).mean(axis=0) / np.abs(cells), 0.01)
    out = 1e-6 * np.random.default_rng(8).normal(size=len(x))
    for i, piece in zip(starts, np.fft.irfft(cells * gain), strict=True):
        out[i : i + n] += window * piece
    return out


def gated(x: np.ndarray) -> np.ndarray:
    """Shut off to a hundredth for 0.3 s in every second."""
    t = np.arange(len(x)) / RATE
    return x * np.where(t % 1.0 < 0.3, 1e-3, 1.0)


def ducking(x: np.ndarray) -> np.ndarray:
    """A knock each second, after each of which the gain falls by 6 dB and recovers within half a second."""
    t = np.arange(len(x)) / RATE
    since = np.where(t >= 0.5, (t - 0.5) % 1.0, 9.0)
    gain = 1.0 - 0.5 * np.exp(-since / 0.25) * (since < 9.0)
    knock = np.exp(-since / 0.004) * np.random.default_rng(5).normal(size=len(x)) * 2.0
    return 0.3 * (gain * x + knock * (since < 0.1))


def with_copy(x: np.ndarray) -> np.ndarray:
    y = x.copy()
    y[96_000:96_480] = y[95_520:96_000]
    return y


def with_gap(x: np.ndarray, seconds: float) -> np.ndarray:
    y = x.copy()
    y[60_000 : 60_000 + int(seconds * RATE)] = 0.0
    return y


def wavering(x: np.ndarray) -> np.ndarray:
    t = np.arange(len(x)) / RATE
    return x * 10 ** (np.sin(2 * np.pi * 0.4 * t) * 5 / 20)


def windy(x: np.ndarray) -> np.ndarray:
    t = np.arange(len(x)) / RATE
    return 1e-4 * shop(slope=0.0, seed=2) + 0.2 * np.sin(2 * np.pi * 23 * t + 3 * np.sin(2 * np.pi * 0.7 * t))


MADE: dict[str, tuple[str, bool, Callable[[], np.ndarray], int]] = {
    "clipped hard": ("clipping", True, lambda: np.clip(shop() * 4, -0.99, 0.99), RATE),
    "clipped, then turned down": ("clipping", True, lambda: 0.17 * np.clip(shop() * 4, -0.99, 0.99), RATE),
    "clipped, then 16 bit": ("clipping", True, lambda: np.round(9000 * np.clip(shop() * 4, -1, 1)) / 32768, RATE),
    "clipped on one side": ("clipping", True, lambda: np.minimum(shop(), 0.15), RATE),
    "short": ("too-short", False, lambda: shop(seconds=1.0), RATE),
    "far too short": ("too-short", True, lambda: shop(seconds=0.3), RATE),
    "hidden by 16-bit steps": ("too-low", True, lambda: np.round(shop(slope=0) * 10**-3.8 * 32768) / 32768, RATE),
    "dead input": ("too-low", True, lambda: shop(slope=0) * 1e-4, RATE),
    "digital silence": ("silent", True, lambda: np.zeros(RATE * 4), RATE),
    "16 kHz sampling": ("low-rate", False, lambda: shop(16_000), 16_000),
    "music coder": ("band-cut", False, lambda: walled(shop(), 13_000), RATE),
    "wide-band call": ("band-cut", True, lambda: walled(shop(), 7_000), RATE),
    "telephone": ("band-cut", True, lambda: walled(shop(), 3_400), RATE),
    "noise suppression": ("noise-suppression", True, lambda: suppressed(shop()), RATE),
    "noise gate": ("noise-suppression", True, lambda: gated(shop()), RATE),
    "gain that ducks after knocks": ("automatic-gain", True, lambda: ducking(shop()), RATE),
    "lost buffer": ("dropout", False, lambda: with_gap(shop(), 0.02), RATE),
    "many lost buffers": ("dropout", True, lambda: with_gap(shop(), 0.2), RATE),
    "buffer twice": ("repeated-block", True, lambda: with_copy(shop()), RATE),
    "offset": ("offset", False, lambda: shop() + 0.1, RATE),
    "wind": ("rumble", False, lambda: windy(shop()), RATE),
    "coming and going": ("unsteady", False, lambda: wavering(shop()), RATE),
}


LIMITS: dict[str, set[float]] = {
    "clipping": {6.0},
    "too-short": {2.0},
    "too-low": {-90.0},
    "silent": {0.005},
    "low-rate": {32_000.0},
    "band-cut": {15_900.0},
    "noise-suppression": {7.5, 2.0},
    "automatic-gain": {1.5},
    "dropout": {5.0},
    "repeated-block": {3.0},
    "offset": {0.1},
    "rumble": {40.0},
    "unsteady": {2.0},
}
"""What each flag says its limit is: samples, seconds, dB, Hz, milliseconds, a share; noise suppression by two signs."""


def flags(x: np.ndarray, rate_hz: int = RATE) -> dict[str, bool]:
    clip = Clip.of(x, rate_hz)
    found = check_clip(clip, spectra(clip))
    assert all(f.limit in LIMITS[f.flag] for f in found), found
    return {f.flag: f.reject for f in found}


@cache
def flags_of(name: str, gain: float = 1.0) -> dict[str, bool]:
    _, _, make, rate = MADE[name]
    return flags(make() * gain, rate)


@pytest.mark.parametrize("name", MADE)
def test_each_flag_fires_on_a_clip_made_for_it(name: str) -> None:
    flag, reject, _, _ = MADE[name]
    found = flags_of(name)
    assert flag in found
    assert found[flag] is reject


def _raised(*modules: str) -> set[str]:
    """Names of the flags that these modules of ``listen`` can raise."""
    files = [file for module in modules for file in (HOUSE / "listen").glob(module)]
    assert files
    return {name for file in files for name in re.findall(r'flag="([a-z-]+)"', file.read_text("utf-8"))}


def test_every_flag_of_a_clip_has_a_clip_made_for_it() -> None:
    """Two are not heard in samples: what coded the file, and what the sound system lost; both have their own tests."""
    raised = _raised("signal/quality_samples.py", "signal/quality_spectrum.py")
    assert raised == {flag for flag, *_ in MADE.values()} | {"coded", "overflow"}
    assert raised <= LIMITS.keys() | {"coded", "overflow"}


def test_no_flag_of_a_pair_or_a_round_is_without_a_test() -> None:
    files = [file for file in (HOUSE / "tests").rglob("test_*.py") if file != Path(__file__)]
    tests = "".join(file.read_text("utf-8") for file in files)
    raised = _raised("signal/quality_pair.py", "signal/switched_flags.py", "rounds/*.py")
    assert [name for name in sorted(raised) if f'"{name}"' not in tests] == []


@pytest.mark.parametrize("name", [n for n in MADE if MADE[n][0] not in ("too-low", "silent")])
def test_gain_changes_no_flag(name: str) -> None:
    # Float samples carry gain exactly; only levels against a recorder's own floor are absolute.
    assert flags_of(name, 0.125) == flags_of(name)


def at_ceiling(count: int, every: int = 7000) -> np.ndarray:
    """So many samples at one level well above the rest."""
    x = np.clip(shop(), -0.28, 0.28)
    x[np.abs(x) >= 0.28] *= np.random.default_rng(3).uniform(0.5, 0.95, int((np.abs(x) >= 0.28).sum()))
    x[4900 : 4900 + every * count : every] = 0.5
    return x


def with_copies(seconds: float, lag_s: float) -> np.ndarray:
    x, n, lag = shop(), round(seconds * RATE), round(lag_s * RATE)
    x[96_000 : 96_000 + n] = x[96_000 - lag : 96_000 - lag + n]
    return x


@pytest.mark.parametrize(
    ("flag", "below", "above"),
    [
        ("too-short", lambda: shop(seconds=2.02), lambda: shop(seconds=1.98)),
        ("clipping", lambda: at_ceiling(5), lambda: at_ceiling(7)),
        ("dropout", lambda: with_gap(shop(), 0.0048), lambda: with_gap(shop(), 0.0052)),
        ("repeated-block", lambda: with_copies(0.0028, 0.01), lambda: with_copies(0.0033, 0.01)),
        ("repeated-block", lambda: with_copies(0.02, 0.52), lambda: with_copies(0.02, 0.48)),
        ("low-rate", lambda: shop(32_000), lambda: shop(24_000)),
    ],
)
def test_a_flag_begins_at_its_limit(
    flag: str, below: Callable[[], np.ndarray], above: Callable[[], np.ndarray]
) -> None:
    rates = (32_000, 24_000) if flag == "low-rate" else (RATE, RATE)
    assert [flag in flags(make(), rate) for make, rate in zip((below, above), rates, strict=True)] == [False, True]


@pytest.mark.parametrize(
    ("flag", "kept", "refused"),
    [
        ("too-short", lambda: shop(seconds=0.52), lambda: shop(seconds=0.48)),
        ("dropout", lambda: with_gap(shop(), 0.078), lambda: with_gap(shop(), 0.082)),
        ("clipping", lambda: at_ceiling(9, 1500), lambda: at_ceiling(15, 1500)),
        ("band-cut", lambda: walled(shop(), 8_700), lambda: walled(shop(), 8_300)),
    ],
)
def test_a_flag_refuses_from_its_second_limit(
    flag: str, kept: Callable[[], np.ndarray], refused: Callable[[], np.ndarray]
) -> None:
    """Half a second; 2 % standing still; clipped in a tenth of all stretches; no more than a voice comes through."""
    assert [flags(make()).get(flag) for make in (kept, refused)] == [False, True]


@pytest.mark.parametrize("rate", [32_000, 44_100, 48_000, 96_000, 192_000])
@pytest.mark.parametrize("slope", [0.0, 1.0, 2.0])
def test_a_clean_shop_has_no_flag(rate: int, slope: float) -> None:
    clip = Clip.of(shop(rate, slope=slope), rate)
    assert check_clip(clip, spectra(clip)) == ()


def jet(rng: np.random.Generator, n: int) -> np.ndarray:
    h = np.diff(rng.normal(size=n + 1))
    return h / h.std()


@pytest.mark.parametrize("hiss_db", [-10.0, 0.0, 10.0, 20.0])
def test_hiss_of_any_loudness_is_no_fault(hiss_db: float) -> None:
    x = 0.05 * shop(slope=2.0)
    x = x + jet(np.random.default_rng(4), len(x)) * 1e-3 * 10 ** (hiss_db / 20)
    clip = Clip.of(x, RATE)
    assert check_clip(clip, spectra(clip)) == ()


def test_a_hum_a_knock_and_a_16_bit_file_are_no_fault() -> None:
    t = np.arange(RATE * 4) / RATE
    x = shop() + 0.3 * np.sin(2 * np.pi * 50 * t) + np.exp(-np.abs(t - 2) / 0.003) * 0.3
    clip = Clip.of(np.round(x * 32768) / 32768, RATE)
    assert check_clip(clip, spectra(clip)) == ()


def test_overflows_told_by_the_sound_system_are_a_flag() -> None:
    clip = Clip.of(shop(), RATE, overflows=3)
    assert [(f.flag, f.value) for f in check_clip(clip, spectra(clip))] == [("overflow", 3.0)]


def test_every_flag_is_one_sentence_with_finite_numbers() -> None:
    for name, (_, _, make, rate) in MADE.items():
        clip = Clip.of(make(), rate)
        for f in check_clip(clip, spectra(clip)):
            assert np.isfinite([f.value, f.limit]).all(), name
            assert f.text.endswith(".") and "\n" not in f.text and len(f.text) < 250, name


def test_rejections_come_first() -> None:
    clip = Clip.of(with_copy(shop() + 0.3), RATE)
    rejects = [f.reject for f in check_clip(clip, spectra(clip))]
    assert rejects == sorted(rejects, reverse=True)
    assert rejects[0] and not rejects[-1]


@pytest.mark.parametrize("edge_hz", [3_400.0, 7_000.0, 11_000.0, 15_500.0, 18_000.0])
def test_the_usable_band_ends_at_the_wall(edge_hz: float) -> None:
    clip = Clip.of(walled(shop(), edge_hz), RATE)
    assert usable_band_hz(spectra(clip)) == pytest.approx(edge_hz, abs=250.0)


def test_a_click_does_not_hide_the_wall() -> None:
    x = walled(shop(), 11_000.0)
    x[100_000] += 0.8
    assert usable_band_hz(spectra(Clip.of(x, RATE))) == pytest.approx(11_000.0, abs=250.0)


def test_shop_noise_that_sinks_into_the_microphones_own_floor_is_no_wall() -> None:
    x = shop(slope=4.0) + 1e-3 * shop(slope=0.0, seed=3)
    assert usable_band_hz(spectra(Clip.of(x, RATE))) == RATE / 2


@pytest.mark.parametrize("freq_hz", [50.0, 100.3, 440.0, 997.0, 1000.0, 3000.0, 12_000.0])
@pytest.mark.parametrize("step", [0.0, 2.0**-15])
def test_a_generated_tone_is_not_clipped(freq_hz: float, step: float) -> None:
    x = 0.5 * np.sin(2 * np.pi * freq_hz * np.arange(RATE * 4) / RATE)
    clip = Clip.of(np.round(x / step) * step if step else x, RATE)
    assert "clipping" not in {f.flag for f in check_clip(clip, spectra(clip))}


@pytest.mark.parametrize("x", [np.zeros(RATE * 4), np.round(shop() * 3) / 32768, shop() * (np.arange(RATE * 4) < RATE)])
def test_clips_of_few_levels_are_no_more_work_than_others(x: np.ndarray, monkeypatch: pytest.MonkeyPatch) -> None:
    """Equal samples by the thousand look like repeats by the thousand: few are held against their copies."""
    compared: list[int] = []
    equal_run = quality_samples._equal_run

    def counted(samples: np.ndarray, i: int, lag: int) -> int:
        compared.append(lag)
        return equal_run(samples, i, lag)

    monkeypatch.setattr(quality_samples, "_equal_run", counted)
    assert _steps(x) < 3 * _steps(shop())
    assert len(compared) <= 8 and max(compared, default=0) <= RATE // 2


def _steps(x: np.ndarray) -> int:
    """Calls that checking a clip makes: the same on any machine, however busy."""
    clip = Clip.of(x, RATE)
    s, calls = spectra(clip), 0

    def count(*_: object) -> None:
        nonlocal calls
        calls += 1

    sys.setprofile(count)
    try:
        check_clip(clip, s)
    finally:
        sys.setprofile(None)
    return calls
