"""Air that was on during a quiet walk, told by its hiss: as the air walk's and as no other quiet walk's.

Two stories compete over how the clips differ: this walk was quiet, and what it differs by from the other quiet walks is
the shop; or it had air, and only what it differs by from the air walk is the shop. Symbols: M changes to be explained,
P points, B bands of which the first are place bands, S scales of drift.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from listen.rounds.slips.slip import Blunder, RoundClip
from listen.signal.flags import Flag
from listen.trade.points import Kind, point

COMMON_DB = np.array([0.2, 0.6, 1.8, 5.0])
POINT_DB = np.array([0.1, 0.3, 1.0, 3.0])
LEVEL_SHARES = np.array([0.3, 0.4, 0.22, 0.08])
BAND_DB = np.array([0.1, 0.3, 0.9])
BAND_SHARES = np.array([0.4, 0.4, 0.2])
"""What a shop moves by between two walks, standard deviations and how often: of all points together, of one point's
level, of one band. Quiet against quiet in 540 rounds of worlds and recorded shops: half 0.3, 0.3 and 0.15 dB, one
in ten 0.6-3.1, 0.7-1.6 and 0.5-1.4, one in fifty 1.6-5.4, 1.5-3.7 and 1.4-2.9."""
COMMON_BANDS, POINT_BANDS = 8.0, 5.0
"""Over so many bands such a change keeps its size (falls to 1/e). Judgement."""
PLACE_SAMPLING_DB = 0.15
"""What chance leaves in a place band of a clip of some seconds."""
BANDS_AS_ONE = 0.5
"""Neighbouring bands move together in more ways than these: their evidence counts half, as where labels are told."""
HISS_DB = 0.5
"""Least rise of the hiss at some point; a smaller one moves no verdict. Judgement."""
QUIET_AIR_DB = 26.0
"""Evidence that a quiet walk had air, decibans. Of 1,200 clean rounds of worlds and recorded shops 10 are doubted. With
air in the first quiet walk: 105 of 120 noticed in recorded shops made without the simulator, 252 of 392 in worlds and
worlds in recorded shops; both were looked at for what was missed. Of the rest two in five put less than half a decibel
into that walk at any point, one in five have no second one."""


def quiet_with_air(clips: Sequence[RoundClip]) -> Blunder | None:
    """A quiet walk whose hiss is the air walk's; needs another quiet walk."""
    at, quiets, airs = _walks(clips)
    if len(at) < 2:
        return None
    bands = min(len(c.mark.wide_db) for c in (*airs, *(q for here in quiets for q in here)))
    quiet = np.array([[_bands(q, bands) for q in here] for here in quiets]).swapaxes(0, 1)  # by walk, then point
    air = np.array([_bands(c, bands) for c in airs])
    # Each walk against the mean of the others.
    rest = (quiet.sum(axis=0) - quiet) / (len(quiet) - 1)
    places = air.shape[1] - bands
    sampling = np.r_[np.full(places, PLACE_SAMPLING_DB**2), _sampling(quiets, airs, bands)]
    likely = _log_drift(np.concatenate([quiet - rest, quiet - air]), places, sampling)
    gain_db = 10.0 / np.log(10.0) * BANDS_AS_ONE * (likely[len(quiet) :] - likely[: len(quiet)])
    walk = int(gain_db.argmax())
    # However much the rumble rose with it: a wide leak reaches down there, and a shop's rise is weighed above.
    hiss = np.median((0.5 * (quiet[walk] + air) - rest[walk])[:, places:], axis=1)
    loudest = int(hiss.argmax())
    if gain_db[walk] < QUIET_AIR_DB or hiss[loudest] < HISS_DB:
        return None
    text = (
        f"The hiss of one quiet walk is the air walk's, at the {point(at[loudest]).words} {hiss[loudest]:.1f} dB above "
        f"the other quiet clips (evidence {gain_db[walk]:.0f} dB, limit {QUIET_AIR_DB:.0f} dB): the air was still on, "
        "or something else hissed from then on; shut the air off, wait for the gauge to fall to zero and walk the "
        "quiet clips again."
    )
    flag = Flag(flag="air-in-quiet", value=float(gain_db[walk]), limit=QUIET_AIR_DB, text=text, reject=True)
    again = tuple(here[walk].again for here in quiets)
    return Blunder(flag, tuple(p for p, db in zip(at, hiss, strict=True) if db >= HISS_DB), again)


def _walks(clips: Sequence[RoundClip]) -> tuple[list[str], list[list[RoundClip]], list[RoundClip]]:
    """Points that were in every quiet walk and in an air walk, their quiet clips and first air clips."""
    quiets = {
        p: [c for c in clips if c.at == p and c.mark.kind is Kind.QUIET] for p in dict.fromkeys(c.at for c in clips)
    }
    airs = {c.at: c for c in reversed(clips) if c.mark.kind is Kind.AIR}
    walks = max(map(len, quiets.values()), default=0)
    at = [p for p, here in quiets.items() if p in airs and len(here) == walks > 1]
    return at, [quiets[p] for p in at], [airs[p] for p in at]


def _bands(clip: RoundClip, bands: int) -> NDArray[np.float64]:
    return np.concatenate([clip.mark.place_db, clip.mark.wide_db[:bands]], dtype=np.float64)


def _sampling(quiets: list[list[RoundClip]], airs: list[RoundClip], bands: int) -> NDArray[np.float64]:
    """Variance that chance leaves in the difference of two clips' hiss bands, by the clips' own course."""
    courses = [c.mark.course_db[:, :bands] for c in (*airs, *(q for here in quiets for q in here))]
    scatter = np.mean([course.std(axis=0, dtype=np.float64) / np.sqrt(len(course)) for course in courses], axis=0)
    # Bounded: a clip with a knock in it would else explain anything by chance.
    return np.asarray(np.minimum(2.0 * scatter**2, 1.0))


def _log_drift(changes: NDArray[np.float64], places: int, sampling: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log density of the hiss bands' changes given the place bands', had only the shop changed [shape=(M,)].

    ``changes`` [shape=(M, P, B)], ``sampling`` variances [shape=(B,)]. The scales are mixed, which makes heavy tails.
    """
    from scipy.special import logsumexp

    count, bands = changes.shape[1:]
    apart = np.abs(np.subtract.outer(np.arange(bands), np.arange(bands)))
    common, level = np.exp(-apart / COMMON_BANDS), np.exp(-apart / POINT_BANDS)
    own = (POINT_DB[:, None, None, None] ** 2 * level) + BAND_DB[:, None, None] ** 2 * np.eye(bands) + np.diag(sampling)
    # The mean over points holds what they share; what each strays from it by does not.
    shared = own[:, :, None] + count * COMMON_DB[:, None, None] ** 2 * common
    mean = changes.mean(axis=1, keepdims=True)
    strays = (changes - mean).reshape(-1, bands).T
    by_own, by_shared = np.linalg.cholesky(own), np.linalg.cholesky(shared)
    stray = np.linalg.solve(by_own, strays).reshape(*by_own.shape[:3], len(changes), count)
    together = np.linalg.solve(by_shared, np.sqrt(count) * mean[:, 0].T)
    spread = (count - 1) * _log_diagonal(by_own)[:, :, None] + _log_diagonal(by_shared)
    # By the triangular form the first bands' terms are their density alone: the rest is that of the hiss given them.
    terms = -0.5 * (stray**2).sum(axis=-1)[:, :, None] - 0.5 * together**2 - spread[..., None]
    chance = np.log(LEVEL_SHARES[:, None, None, None] * BAND_SHARES[:, None, None] * LEVEL_SHARES[:, None])
    whole, low = (chance + terms[..., :n, :].sum(axis=-2) for n in (bands, places))
    return np.asarray(logsumexp(whole, axis=(0, 1, 2)) - logsumexp(low, axis=(0, 1, 2)))


def _log_diagonal(lower: NDArray[np.floating]) -> NDArray[np.float64]:
    return np.asarray(np.log(np.diagonal(lower, axis1=-2, axis2=-1)))
