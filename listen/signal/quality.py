"""Everything that is doubtful about one clip, as named flags with number, limit and what to do next."""

from listen.signal.clip import Sound
from listen.signal.flags import Flag
from listen.signal.quality_samples import check_samples
from listen.signal.quality_spectrum import check_spectrum
from listen.signal.spectra import Spectra


def check_clip(clip: Sound, spectra: Spectra) -> tuple[Flag, ...]:
    """Flags of one clip with its own spectra, those that reject it first; empty for a clean clip.

    ``reject`` is true only where the clip's number must not be believed.
    """
    samples = check_samples(clip)
    # Of digital silence a spectrum says nothing that was not said.
    if any(flag.flag == "silent" for flag in samples):
        return samples
    flags = samples + check_spectrum(clip, spectra)
    return tuple(sorted(flags, key=lambda flag: not flag.reject))
