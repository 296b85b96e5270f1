"""What gives a truth away, in a sentence a listener can use next time."""

from listen.trade.points import PathId
from listen.voice.names import paths as path_names

CLUES: dict[PathId, str] = {
    PathId.INTAKE_VALVE: "Loud in the intake with the air on, far less at the tailpipe and the oil filler.",
    PathId.EXHAUST_VALVE: "The tailpipe is the place that changes most with the air, although the pipe dulls it.",
    PathId.RINGS: "The oil filler hisses more than normal blow-by would; the pipes stay quiet.",
    PathId.COOLANT_PASSAGE: "Bubbles break in the radiator neck while the air is on; what hiss there is lies high.",
    PathId.NEXT_CYLINDER: "The neighbour's plug hole is loud while intake and tailpipe stay quiet.",
    PathId.FITTING: "About the same hiss everywhere, whatever the point, strongest near the plug: it leaks outside.",
    PathId.SET_UP: "Intake and tailpipe are both loud and nearly all the air is lost: not at top dead centre.",
    PathId.NONE: "Only the oil filler changes a little: normal blow-by, as every cylinder has it.",
}
"""One row a path."""
CARRIED = (
    "Both the tailpipe and the neighbour's plug hole hiss: its exhaust valve stands open. "
    "Only a hole that is loud while both pipes are quiet means the gasket."
)
HOSE = (
    "The intake hisses too, but through the crankcase ventilation hose: the filler is louder. "
    "Pull the hose off and listen again."
)
DRIPS = "Drips, air on or off alike. Bubbles come with the air and stop with it."
COMPRESSOR = (
    "Every point grew louder by the same, hum and all: the shop changed, not the cylinder. "
    "A closing quiet clip would have shown it."
)


def clue(paths: tuple[PathId, ...]) -> str:
    """What gave a round away; for a pair, both."""
    if len(paths) == 1:
        return CLUES[paths[0]]
    return f"Two at once, {path_names(paths)}. " + " ".join(CLUES[p] for p in paths)
