"""A round to be simulated, stated in full: whoever has this value has every sample (values only, no randomness); and
what is really wrong in it."""

from typing import Literal

import msgspec

from listen.lab.simulator.curves import FLAT, Curve
from listen.rounds.model import Facts
from listen.trade.points import Kind, PathId

GENERATOR = "hissway-simulator/2"
"""Name and version of the simulator; a change of what a seed renders needs a new number."""


class Cause(msgspec.Struct, frozen=True):
    path: PathId
    hiss_db: float
    """At its own point, dB: about the background (mean over the third octaves 1-16 kHz of the power ratio), or re full
    scale, as its world's levels are."""


class Truth(msgspec.Struct, frozen=True, kw_only=True):
    """What is wrong in a round; no causes means a sound cylinder (normal blow-by only)."""

    causes: tuple[Cause, ...] = ()
    blow_by_db: float = -20.0
    """Whitened level of this cylinder's normal blow-by at the oil filler, dB about the background."""
    bubbles_per_s: float = 0.0
    """Rate of bubbles at the radiator while air is on."""

    @property
    def paths(self) -> tuple[PathId, ...]:
        """Paths at work; ``none`` alone for a sound cylinder."""
        return tuple(c.path for c in self.causes) or (PathId.NONE,)


class Part(msgspec.Struct, frozen=True, kw_only=True):
    kind: str
    """``noise``, ``throb``, or a row of ``noises.MAKERS``: tones, speech, clanks, ratchet, knocks, drips."""
    level_db: float
    """Power of steady parts, peak of single events, in dB about the background's unit level."""
    curve: Curve = FLAT
    numbers: dict[str, float] = {}
    """Further particulars, for example ``rate_hz`` of a throb."""


class Background(msgspec.Struct, frozen=True, kw_only=True):
    """The shop's own sound: parts, or a stretch of a sound file."""

    name: str
    parts: tuple[Part, ...] = ()
    """Ingredients; empty where a file is used."""
    file: str = ""
    """Path of a sound file; its mean power is brought to the unit level."""
    level_dbfs: float = -48.0
    """Unit level: power of the background where its offset is 0 dB."""


class Microphone(msgspec.Struct, frozen=True, kw_only=True):
    name: str = "simulated microphone"
    colour: Curve = FLAT
    self_noise_db: float = -40.0
    """White self-noise about the background's mean power density over 1-16 kHz, dB."""
    bits: int = 24
    """Bits of the converter; 0 for none."""
    gain_db: float = 0.0
    """Gain after everything else."""
    self_noise_dbfs: float | None = None
    """Power of the self-noise over 1-16 kHz, dB re full scale, instead of ``self_noise_db``."""
    agc: float = 0.0
    """Automatic gain: share of every change of level that it takes back, 0 to 1."""
    fixed_gain: bool = False
    """True: too loud a round clips; False: the tech turned the gain down before it."""


class Switched(msgspec.Struct, frozen=True, kw_only=True):
    """How the air was switched in one take, as it really was."""

    on_s: tuple[tuple[float, float], ...]
    """Opened and shut, seconds from the start."""
    decay_s: float = 0.4
    """Time constant of the hiss after shut-off."""
    wander_db: float = 0.0
    """Standard deviation of the shop's level within the take, about its mean..."""
    wander_s: float = 60.0
    together: bool = False
    """All points taken at once: their levels wander alike."""


class TakeSpec(msgspec.Struct, frozen=True, kw_only=True):
    kind: Kind
    order: int
    """Number within its kind, from 1."""
    seconds: float
    drift_db: float = 0.0
    """Background level about its mean while this clip is taken."""
    drift_curve: Curve = FLAT
    """The part of the drift that depends on frequency, dB."""
    ramp_db: float = 0.0
    """Background level at the end of the clip about that at its start."""
    bumps: tuple[tuple[float, float], ...] = ()
    """Single third octaves that moved by themselves: centre (Hz) and change of the background there (dB)."""
    also: tuple[Part, ...] = ()
    """What else sounds during this clip, about the background's unit level; ``numbers`` ``from`` and ``to`` give the
    shares of the clip between which it does."""
    gain_db: float = 0.0
    """Input gain of this clip about the others'."""
    switched: Switched | None = None
    """For takes of kind ``switched`` and ``switched-sound``."""
    pressurised: bool | None = None
    """Whether air is on, where that is not what ``kind`` says."""


class Hiss(msgspec.Struct, frozen=True, kw_only=True):
    source: str
    level_db: float
    curve: Curve
    """Spectral shape here: source and duct together; only the shape counts."""
    about: Literal["background", "full-scale"] = "background"
    """``background``: whitened level about this point's recorded background; ``full-scale``: power over 1-16 kHz, dB re
    full scale at gain 0."""
    comb_hz: float = 0.0
    """Spacing of a duct's resonances, 0 for none."""
    comb_db: float = 0.0
    """Their height, peak to valley."""
    whistle_hz: float = 0.0
    """Tone of a slit or edge, 0 for none."""
    whistle_db: float = 0.0
    """Power of the tone about the hiss's over 1-16 kHz."""


class Bubbles(msgspec.Struct, frozen=True, kw_only=True):
    """Bubbles heard while air is on (Minnaert 1933: decaying tones)."""

    per_s: float
    peak_db: float
    """Median peak over the background's 0.3-4 kHz amplitude (root mean square), dB."""


class PointSpec(msgspec.Struct, frozen=True, kw_only=True):
    point: str
    takes: tuple[TakeSpec, ...]
    offset_db: float = 0.0
    """Background here about the round's unit level."""
    colour: Curve = FLAT
    """What the place does to the shop's sound, dB."""
    air: tuple[Hiss, ...] = ()
    sound: tuple[Hiss, ...] = ()
    """What is heard with air in a sound cylinder."""
    bubbles: Bubbles | None = None


class RoundSpec(msgspec.Struct, frozen=True, kw_only=True):
    name: str
    seed: int
    truth: Truth
    points: tuple[PointSpec, ...]
    background: Background
    microphone: Microphone = Microphone()
    rate_hz: int = 48_000
    facts: Facts = Facts()
    """Readings that go with the round."""
    population: str = ""
    """The population or world it was drawn from, if drawn."""
