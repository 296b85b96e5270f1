"""From a stated round to its clips: background, drift, hiss, bubbles, microphone, converter; and to files on disk."""

from collections.abc import Mapping
from pathlib import Path

import msgspec
import numpy as np
from numpy.typing import NDArray

from listen.audio.write import write_clip
from listen.lab.simulator import background as shop
from listen.lab.simulator.background import Layer, band_widths_hz, source_shape, stream_of
from listen.lab.simulator.curves import BAND_EDGE, band_power, gaussian, power_gain, spectrum_power
from listen.lab.simulator.noises import BUBBLE_HZ, bubbles
from listen.lab.simulator.scene import GENERATOR, Hiss, PointSpec, RoundSpec, TakeSpec
from listen.lab.simulator.switching_hand import switched_sound
from listen.rounds.model import Facts
from listen.signal.clip import Clip
from listen.trade.points import Kind

TakeKey = tuple[str, Kind, int]
PEAK = 0.9
"""A round whose loudest sample would pass this is turned down as a whole, as a tech would."""


def _heard(point: PointSpec, take: TakeSpec) -> tuple[Hiss, ...]:
    kind = take.kind
    if take.pressurised is not None:
        return point.air if take.pressurised else ()
    if kind in (Kind.AIR, Kind.SWITCHED):
        return point.air
    if kind in (Kind.SOUND, Kind.SWITCHED_SOUND):
        return point.sound
    if kind == Kind.SHUT:
        return tuple(h for h in point.air if h.source == "fitting")
    return ()


def _bubble_spectrum(spec: RoundSpec, layer: Layer, bands_rms: float) -> NDArray[np.complex64]:
    point = layer.point
    assert point.bubbles is not None
    rng = stream_of(spec, point.point, layer.take.kind, layer.take.order, "bubbles")
    wave = bubbles(rng, layer.n, spec.rate_hz, {"per_s": point.bubbles.per_s})
    peak = bands_rms * 10 ** (point.bubbles.peak_db / 20)
    return np.asarray(np.fft.rfft(wave * np.float32(peak)), dtype=np.complex64)


def _bubble_band_rms(layers: list[Layer], rate_hz: int) -> float:
    means = []
    for layer in layers:
        lo, hi = (int(f * layer.n / rate_hz) for f in BUBBLE_HZ)
        means.append(float(spectrum_power(layer.spectrum[lo:hi], layer.n).sum(dtype=np.float64)))
    return float(np.sqrt(np.mean(means)))


def _record(
    spec: RoundSpec, layer: Layer, bands: NDArray[np.float64], density: float, bubble_rms: float
) -> NDArray[np.float32]:
    """Samples of one clip before the converter [shape=(n,)]."""
    n, rate, take, point = layer.n, spec.rate_hz, layer.take, layer.point
    total = _drifted(layer, rate)
    power = np.full(n // 2 + 1, density * rate / n, dtype=np.float32)
    rng = stream_of(spec, point.point, take.kind, take.order, "hiss")
    # Unless switched these are the same two arrays: what is added to the air is then in the sound at once.
    air = np.zeros_like(total) if take.switched else total
    blown = np.zeros_like(power) if take.switched else power
    for hiss in _heard(point, take):
        scale = np.float32(shop.hiss_scale(spec, hiss, bands, n))
        blown += shop.hiss_shape(spec, hiss, n) * scale
        if hiss.whistle_hz:
            air += np.fft.rfft(_whistle(rng, hiss, float(scale), n, rate))
    total += gaussian(rng, power, n)
    if point.bubbles is not None and take.kind in (Kind.AIR, Kind.SWITCHED) and take.pressurised is not False:
        air += _bubble_spectrum(spec, layer, bubble_rms)
    wave = np.asarray(np.fft.irfft(total, n), dtype=np.float32)
    # Shop and air are made apart only here: the valve shapes the one and not the other.
    if take.switched is not None:
        air += gaussian(rng, blown, n)
        leak = np.asarray(np.fft.irfft(air, n), dtype=np.float32)
        wave = switched_sound(
            stream_of(spec, "switched", "" if take.switched.together else point.point), wave, leak, take.switched, rate
        )
    return wave + _also(spec, layer) if take.also else wave


def _drifted(layer: Layer, rate_hz: int) -> NDArray[np.complex64]:
    n, take = layer.n, layer.take
    drift = np.float32(10 ** (take.drift_db / 20))
    total = layer.spectrum * drift * np.sqrt(power_gain(take.drift_curve, n, rate_hz))
    for centre_hz, change_db in take.bumps:
        lo, hi = (int(centre_hz * edge * n / rate_hz) for edge in (1 / BAND_EDGE, BAND_EDGE))
        total[lo:hi] *= np.float32(10 ** (change_db / 20))
    if take.ramp_db:
        slope = np.linspace(-take.ramp_db / 40, take.ramp_db / 40, n, dtype=np.float32)
        total = np.fft.rfft(np.fft.irfft(total, n).astype(np.float32) * 10**slope).astype(np.complex64)
    return np.asarray(total)


def _whistle(rng: np.random.Generator, hiss: Hiss, scale: float, n: int, rate_hz: int) -> NDArray[np.float32]:
    """The tone of a slit, its pitch trembling by two parts in a thousand."""
    hiss_power = scale * float(band_power(source_shape(hiss, n, rate_hz), n, rate_hz).sum())
    t = np.arange(n) / rate_hz
    tremble = 2e-3 / 3.0 * np.sin(2 * np.pi * 3.0 * t + rng.uniform(0, 2 * np.pi)) / (2 * np.pi)
    amplitude = np.sqrt(2 * hiss_power * 10 ** (hiss.whistle_db / 10))
    return np.asarray(amplitude * np.sin(2 * np.pi * hiss.whistle_hz * (t + tremble)), dtype=np.float32)


def _also(spec: RoundSpec, layer: Layer) -> NDArray[np.float32]:
    """What else sounds during this clip [shape=(n,)]."""
    n, rate, take = layer.n, spec.rate_hz, layer.take
    wave = np.zeros(n, dtype=np.float32)
    colour = np.sqrt(power_gain(spec.microphone.colour, n, rate))
    for i, part in enumerate(take.also):
        rng = stream_of(spec, layer.point.point, take.kind, take.order, "also", i)
        sounding = np.fft.irfft(shop.synthetic((part,), rng, n, rate) * colour, n).astype(np.float32)
        wave += sounding * _gate(part.numbers.get("from", 0.0), part.numbers.get("to", 1.0), n)
    return np.asarray(wave * np.float32(10 ** (spec.background.level_dbfs / 20)))


def _gate(start: float, end: float, n: int) -> NDArray[np.float32]:
    """One between two shares of a clip, with edges of a hundredth of it [shape=(n,)]."""
    share = np.linspace(0.0, 1.0, n, dtype=np.float32)
    rise = np.ones(n) if start <= 0.0 else np.clip((share - start) / 0.01, 0.0, 1.0)
    fall = np.ones(n) if end >= 1.0 else np.clip((end - share) / 0.01, 0.0, 1.0)
    return np.asarray(rise * fall, dtype=np.float32)


AGC_BLOCK_S, AGC_TIME_S = 0.02, 0.4
"""Automatic gain follows the level of blocks with this time constant."""


def _levelled(wave: NDArray[np.float32], share: float, rate_hz: int) -> NDArray[np.float32]:
    """After an automatic gain that takes back a share of every change of level [shape=(n,)]."""
    size = int(AGC_BLOCK_S * rate_hz)
    blocks = wave[: len(wave) // size * size].reshape(-1, size)
    level = np.log10(np.mean(blocks.astype(np.float64) ** 2, axis=1) + 1e-20)
    keep = np.exp(-AGC_BLOCK_S / AGC_TIME_S)
    # As if it had followed the first second already: no clip begins with a gain that is still finding its place.
    held = keep * level[: int(1 / AGC_BLOCK_S)].mean()
    followed = []
    for one in ((1 - keep) * level).tolist():  # a filter of SciPy's would load for a second for these few steps
        followed.append(one + held)
        held = keep * followed[-1]
    gain = np.interp(np.arange(len(wave)) / size, np.arange(len(level)), -share * (np.array(followed) + AGC_TARGET) / 2)
    return np.asarray(wave * 10**gain, dtype=np.float32)


AGC_TARGET = 4.5
"""Level it aims at: minus this many powers of ten re full scale."""


def render(spec: RoundSpec) -> dict[TakeKey, Clip]:
    """All clips of a round by (point, kind, order); the same spec gives the same samples.

    Raises RoundError: a background file is too short or silent, or a part is unknown. ClipError: a background file
    cannot be read."""
    layers = [shop.layers_of(spec, point) for point in spec.points]
    bands = [shop.mean_bands(group, spec.rate_hz) for group in layers]
    density = shop.self_noise_density(spec, bands, layers[0][0].n)
    waves: dict[TakeKey, NDArray[np.float32]] = {}
    for group, levels in zip(layers, bands, strict=True):
        recorded = levels + density * band_widths_hz(group[0].n, spec.rate_hz)
        rms = _bubble_band_rms(group, spec.rate_hz) if group[0].point.bubbles else 0.0
        for layer in group:
            key = (layer.point.point, layer.take.kind, layer.take.order)
            waves[key] = _record(spec, layer, recorded, density, rms)
    # Over the whole round, so that quiet and air clips keep their distance.
    loudest = max(float(np.abs(w).max()) for w in waves.values())
    turn = {(p.point, t.kind, t.order): np.float32(10 ** (t.gain_db / 20)) for p in spec.points for t in p.takes}
    if spec.microphone.agc:
        waves = {key: _levelled(w, spec.microphone.agc, spec.rate_hz) for key, w in waves.items()}
    gain = np.float32(10 ** (spec.microphone.gain_db / 20))
    # Down only: a quiet round is not made louder than its microphone heard it.
    if not spec.microphone.fixed_gain:
        gain *= np.float32(min(1.0, PEAK / max(loudest * float(gain), 1e-12)))
    return {key: _clip(spec, key, wave * (gain * turn[key])) for key, wave in waves.items()}


def _clip(spec: RoundSpec, key: TakeKey, samples: NDArray[np.float32]) -> Clip:
    point, kind, order = key
    device = f"{spec.microphone.name} ({GENERATOR})"
    name = f"{spec.name}/{point}-{kind}-{order}"
    if bits := spec.microphone.bits:
        # Rounded and held: one step above full scale does not exist.
        steps = np.float32(2 ** (bits - 1))
        samples = np.asarray(np.clip(np.rint(samples * steps), -steps, steps - 1) / steps, dtype=np.float32)
    return Clip.of(samples, spec.rate_hz, device=device, name=name)


def clip_name(key: TakeKey) -> str:
    point, kind, order = key
    return f"{point}-{kind}-{order}.flac"


def write_round(spec: RoundSpec, folder: Path) -> Path:
    return write_clips(folder, render(spec), spec.facts)


def write_clips(folder: Path, clips: Mapping[TakeKey, Clip], facts: Facts) -> Path:
    """Write a loose round, clips and ``round.json``, into ``folder`` (made if missing) and return it."""
    folder.mkdir(parents=True, exist_ok=True)
    for key, clip in clips.items():
        write_clip(folder / clip_name(key), clip)
    (folder / "round.json").write_bytes(msgspec.json.format(msgspec.json.encode(facts), indent=1) + b"\n")
    return folder
