"""What is told of a switched take: no switching to be found, half cycles left out."""

from listen.signal.clip import Clip
from listen.signal.flags import Flag
from listen.signal.switched import LEAST_CYCLES, MOST_LEFT_OUT, Locked


def no_switching(clip: Clip, cycles: int = 0) -> Flag:
    """Nothing can be read from a take in which the air was not switched, or nobody knows when."""
    if cycles:
        what = f"Only {cycles} on-and-off cycles can be used, {LEAST_CYCLES} are needed"
    else:
        what = (
            f"No switching to be found in {clip.seconds:.0f} s: the air never came, stayed on, or is too weak here for "
            "its edges to be heard"
        )
    text = f"{what}; open and shut the valve with the tones, and check valve, hose and supply."
    return Flag(flag="no-switching", value=cycles, limit=LEAST_CYCLES, text=text, reject=True)


def left_out_flag(found: Locked) -> tuple[Flag, ...]:
    """Half cycles in which something else sounded."""
    if not found.left_out:
        return ()
    n, of = len(found.left_out), 2 * found.cycles + 1 + len(found.left_out)
    words = ", ".join(f"{h // 2 + 1} {'on' if h % 2 else 'off'}" for h in found.left_out)
    text = (
        f"Half cycles that stood out from the others were left out ({n}: {words}): something else sounded then. "
        "More than a third would be too many; wait for a quieter moment."
    )
    return (Flag(flag="half-cycles-left-out", value=n, limit=round(MOST_LEFT_OUT * of, 1), text=text),)


def against_flag(found: Locked) -> Flag:
    """The valve was shut where it should have been open, and open where shut: not to be taken for silence."""
    text = (
        "It was louder with the air off than with it on: the valve was turned against the tones, or something else "
        "came and went; take this point again, high tone open, low tone shut."
    )
    return Flag(flag="against-the-commands", value=found.cycles, limit=0, text=text, reject=True)
