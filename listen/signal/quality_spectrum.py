"""What is wrong with a clip as its spectra show it: lost bandwidth, noise suppression, gating, pumping, rumble, unrest.

Symbols: P[t, k] power of frame t, bin k; L = 10 lg P.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from listen.signal.clip import Sound
from listen.signal.flags import Flag
from listen.signal.spectra import TINY, Spectra

HISS_LOW_HZ, HISS_HIGH_HZ = 1_000.0, 16_000.0
"""The band hiss is measured in (METHOD section 4)."""
FULL_RATE_HZ = 32_000
"""Lowest sample rate that holds the whole hiss band."""
FULL_BAND_HZ = 15_900.0
"""A wall above this costs less than one per cent of the hiss band."""
VOICE_BAND_HZ = 8_500.0
"""A wall below this at a full sample rate is a voice path (3.4, 7 or 8 kHz speech channels); such paths also ride the
gain and suppress noise, so the number is not believed."""
WALL_DB, WALL_HZ = 15.0, 900.0
"""A wall falls this far within this width. Microphones, walls of rooms and anti-alias filters below their stop band
fall by 1-3 dB in that width, the coded backgrounds by 16-40 dB."""
WALL_WIDTH_SHARE = 0.15
"""Below 6 kHz the width shrinks in step with frequency: shop noise falling onto a microphone's own flat floor is slow
by that measure (18 dB an octave would pass for a wall otherwise)."""
LOWEST_WALL_HZ = 2_500.0
"""The narrowest voice channel ends at 3.4 kHz; shop noise below may fall onto a flat floor at any steepness."""
WALL_FLOOR_DB = 4.0
"""All that lies above a wall stays within this of one level."""
WALL_BELOW_NYQUIST_HZ = 1_000.0
"""Nearer to half the sample rate it is the recorder's own anti-alias filter."""
BAND_STEP_HZ = 100.0

PATCH_BINS = 32
MAX_RAGGED_DB = 7.5
"""Spread of cells' levels about their patch of neighbours: 5.4 dB in Gaussian noise (5.57 dB less what the patch's own
mean takes), at most 6.8 dB in speech, music coders and machines; spectral subtraction leaves 8-11 dB."""
GATE_DROP_DB, GATE_FRAMES = 25.0, 3
"""A gate closes by more than this within one frame and stays closed for at least so many. Rooms and crowds in the
backgrounds fall 12 dB at most; a balloon let go falls 28 dB, once."""
MIN_GATES = 2
MAX_RUMBLE_DB = 40.0
"""Power below 150 Hz over the hiss band. A storm and a V8 at idle in the backgrounds reach 34 dB."""
RUMBLE_HZ = 150.0
BLOCK_S = 0.25
MAX_UNREST_DB = 2.0
"""Spread (standard deviation) of quarter-second levels. Steady backgrounds show up to 0.7 dB, crowds and crackling
fires 2-5 dB; at 2 dB the interval of a 4 s clip is wider than 2 dB, more than a level can bear."""
KNOCK_DB = 8.0
"""A frame this far above the median is a knock, after which a gain control would duck."""
MAX_DUCK_DB = 1.5
"""Fall of every band after knocks below its level before them; an echo can only add."""
DUCK_BEFORE_S, DUCK_AFTER_S = 0.35, (0.08, 0.30)
DUCK_BANDS = 5
MIN_DUCKS = 2
"""Knocks that must show it: after a single one the shop itself may have fallen quiet."""


def check_spectrum(clip: Sound, spectra: Spectra) -> tuple[Flag, ...]:
    """Flags that need the spectra of the clip."""
    edge_hz = usable_band_hz(spectra)
    # A little below the wall's foot, whose slope is neither sound nor floor.
    high = min(HISS_HIGH_HZ, 0.97 * edge_hz)
    first, last = np.searchsorted(spectra.freq_hz, (min(HISS_LOW_HZ, 0.25 * high), high))
    band = slice(int(first), int(last))
    level_db = spectra.by_frame(lambda level: level[:, band].mean(axis=1), levels=True)
    gated = gating(level_db)
    found = (
        low_rate(clip),
        band_cut(clip, edge_hz),
        gated or suppression(spectra, band),
        pumping(spectra, band, level_db),
        rumble(spectra, band),
        unsteady(level_db, spectra.frame_rate_hz),
    )
    return tuple(flag for flag in found if flag is not None)


# Spectra compare by identity, so they can be keys; few are kept, since each that is stays in memory.
@lru_cache(maxsize=8)
def usable_band_hz(spectra: Spectra) -> float:
    """Upper edge of the band that carries sound: half the sample rate, or the foot of a brick wall below it.

    A wall is a fall of ``WALL_DB`` within ``WALL_HZ`` onto a floor that stays level up to half the sample rate, as
    codecs and voice paths leave it. The mean of the frames' logarithms is used, so that a click does not fill the
    dead band. The last few answers are remembered: the clips of one point are asked about again and again.
    """
    bin_hz = spectra.rate_hz / spectra.frame
    width = max(1, round(BAND_STEP_HZ / bin_hz))
    count = len(spectra.freq_hz) // width
    # Logarithms: a click fills the dead band above a wall in one frame, and would lift a mean of powers.
    third = spectra.mean_over(lambda power: np.log10(power[:, : count * width] + TINY), every=3)
    mean = third * 10  # a third of the frames will do: steps are wide
    steps = np.median(mean.reshape(count, width), axis=1) if width > 2 else mean.reshape(count, width).mean(axis=1)
    step_hz = width * bin_hz
    top = steps[-max(3, int(WALL_BELOW_NYQUIST_HZ / step_hz)) :]
    # The last step holds the bin at half the rate, where converters differ.
    floor = float(np.median(top[:-1]))
    above = np.flatnonzero(steps > floor + WALL_FLOOR_DB)
    if len(above) == 0 or float(np.ptp(top[:-1])) > WALL_FLOOR_DB:
        return spectra.rate_hz / 2
    foot = int(above[-1])
    reach = max(3, round(min(WALL_HZ, WALL_WIDTH_SHARE * foot * step_hz) / step_hz))
    crown = float(steps[max(0, foot - reach) : foot + 1].max())
    top_hz = spectra.rate_hz / 2 - WALL_BELOW_NYQUIST_HZ
    if crown - floor < WALL_DB or not LOWEST_WALL_HZ < (foot + 1) * step_hz < top_hz:
        return spectra.rate_hz / 2
    half = np.flatnonzero(steps[: foot + 1] > (crown + floor) / 2)
    return float((half[-1] + 1) * step_hz)


def low_rate(clip: Sound) -> Flag | None:
    """A sample rate that cannot hold the hiss band."""
    if clip.rate_hz >= FULL_RATE_HZ:
        return None
    text = (
        f"Sample rate {clip.rate_hz} Hz: hiss above {clip.rate_hz / 2000:.1f} kHz is lost; "
        "set the input to 48000 Hz and record again if it can do so."
    )
    return Flag(flag="low-rate", value=float(clip.rate_hz), limit=float(FULL_RATE_HZ), text=text)


def band_cut(clip: Sound, edge_hz: float) -> Flag | None:
    """A brick wall inside the hiss band."""
    limit = min(FULL_BAND_HZ, clip.rate_hz / 2 - WALL_BELOW_NYQUIST_HZ)
    if edge_hz >= limit:
        return None
    voice = edge_hz < VOICE_BAND_HZ and clip.rate_hz >= FULL_RATE_HZ
    advice = (
        "this is a telephone or call channel: choose another input, not a headset in call mode, and record again."
        if voice
        else "only the band below is used; a wired microphone with sound effects off gives more."
    )
    text = f"Nothing above {edge_hz / 1000:.1f} kHz comes through (a coder or voice filter); {advice}"
    return Flag(flag="band-cut", value=edge_hz, limit=limit, text=text, reject=voice)


def suppression(spectra: Spectra, band: slice) -> Flag | None:
    """A spectrum of lone cells and holes, as noise suppression leaves it; noise is ragged by chance only."""
    count = (band.stop - band.start) // PATCH_BINS
    if count == 0:
        return None
    inside = slice(band.start, band.start + count * PATCH_BINS)
    usual = spectra.mean_over(lambda level: level[:, inside], every=2, levels=True)
    squares, rows, at = np.zeros(count), 0, 0
    for level in spectra.levels():
        cells = level[-at % 2 :: 2, inside]  # frames that do not overlap tell as much
        at, rows = at + len(level), rows + len(cells)
        cells = (cells - usual).reshape(len(cells), count, PATCH_BINS)
        cells -= cells.mean(axis=2, keepdims=True)
        squares += np.einsum("tpk,tpk->p", cells, cells)
    ragged = float(np.median(np.sqrt(squares.astype(np.float32) / (rows * PATCH_BINS))))
    if ragged <= MAX_RAGGED_DB:
        return None
    text = (
        f"The spectrum is full of holes ({ragged:.1f} dB ragged, a plain recording has 5.4 dB): "
        "turn noise suppression off in the sound settings and record again."
    )
    return Flag(flag="noise-suppression", value=ragged, limit=MAX_RAGGED_DB, text=text, reject=True)


def gating(level_db: NDArray[np.float32]) -> Flag | None:
    """Abrupt silence between sounds, as a noise gate leaves it; ``level_db`` is the level per frame [shape=(T,)]."""
    # About the median of what sounds: a gate shut half of the time would pull a plain median down to itself.
    shut = level_db < np.median(level_db[level_db > np.median(level_db) - 1.0]) - GATE_DROP_DB
    # Closed at both ends: every gate then has a begin and an end, and they come in pairs.
    edges = np.flatnonzero(np.diff(np.concatenate(([False], shut, [False])).astype(np.int8)))
    begins, ends = edges[::2], edges[1::2]
    long = ends - begins >= GATE_FRAMES
    # Frames overlap by half, so that the steepest fall is spread over the frames on both sides of it.
    drop_db = level_db[np.maximum(begins - 2, 0)] - level_db[np.minimum(begins + 1, len(level_db) - 1)]
    gates = int(np.count_nonzero(long & (drop_db > GATE_DROP_DB)))
    share = float(shut.mean())
    if gates < MIN_GATES:
        return None
    text = (
        f"The sound is shut off {gates} times, {share:.0%} of the clip, as by a noise gate: "
        "turn noise suppression off in the sound settings and record again."
    )
    return Flag(flag="noise-suppression", value=float(gates), limit=float(MIN_GATES), text=text, reject=True)


def pumping(spectra: Spectra, band: slice, level_db: NDArray[np.float32]) -> Flag | None:
    """Every band ducks after knocks, of ``level_db`` [shape=(T,)]: an automatic gain control at work."""
    before, wait, after = (max(1, round(s * spectra.frame_rate_hz)) for s in (DUCK_BEFORE_S, *DUCK_AFTER_S))
    loud = level_db > np.median(level_db) + KNOCK_DB
    ends = np.flatnonzero(loud[:-1] & ~loud[1:])
    ducks = []
    if len(ends) < MIN_DUCKS:
        return None
    bands = spectra.by_frame(
        lambda level: np.stack([b.mean(axis=1) for b in np.array_split(level[:, band], DUCK_BANDS, axis=1)], axis=1),
        levels=True,
    )
    for end in ends:
        begin = end - int(np.argmin(loud[end::-1])) if not loud[: end + 1].all() else 0
        # The knock itself and its echo stand between what is compared.
        calm = slice(begin - before, begin), slice(end + wait, end + after)
        if begin < before or end + after > len(level_db) or loud[calm[0]].any() or loud[calm[1]].any():
            continue
        # Medians: a short sound before or after the knock must not count as the fall.
        ducks.append(np.median(bands[calm[0]], axis=0) - np.median(bands[calm[1]], axis=0))
    if len(ducks) < MIN_DUCKS:
        return None
    duck = np.median(np.stack(ducks), axis=0)
    # The least of all bands: a gain takes them all down, a shop that falls quiet does not.
    least = float(duck.min())
    if least < MAX_DUCK_DB:
        return None
    text = (
        f"After a knock every band drops by {least:.1f} dB or more: automatic gain is on; "
        "turn it off in the sound settings and record quiet and air again."
    )
    return Flag(flag="automatic-gain", value=least, limit=MAX_DUCK_DB, text=text, reject=True)


def rumble(spectra: Spectra, band: slice) -> Flag | None:
    """Wind or handling: low-frequency power out of proportion."""
    # Without the lowest bin: an offset has a flag of its own.
    low = (spectra.freq_hz >= 1.0) & (spectra.freq_hz < RUMBLE_HZ)
    mean = spectra.mean_power
    over = float(10 * np.log10((mean[low].sum() + TINY) / (mean[band].sum() + TINY)))
    if over <= MAX_RUMBLE_DB:
        return None
    text = (
        f"Rumble stands {over:.0f} dB over the hiss band: wind, air blowing on the microphone or handling; "
        "use the foam cap, do not hold the microphone in the hand, keep it out of the jet."
    )
    return Flag(flag="rumble", value=over, limit=MAX_RUMBLE_DB, text=text)


def unsteady(level_db: NDArray[np.float32], frame_rate_hz: float) -> Flag | None:
    """A background, ``level_db`` [shape=(T,)], that moves within the clip."""
    spread = unrest_db(level_db, frame_rate_hz)
    if spread <= MAX_UNREST_DB:
        return None
    text = (
        f"The background moves by {spread:.1f} dB within the clip; wait for a calmer moment or record longer "
        "and take one more quiet clip."
    )
    return Flag(flag="unsteady", value=spread, limit=MAX_UNREST_DB, text=text)


def unrest_db(level_db: NDArray[np.float32], frame_rate_hz: float) -> float:
    """Standard deviation of quarter-second means of ``level_db`` [shape=(T,)], dB."""
    length = max(1, round(BLOCK_S * frame_rate_hz))
    count = len(level_db) // length
    if count < 2:
        return 0.0
    return float(level_db[: count * length].reshape(count, length).mean(axis=1).std(ddof=1))
