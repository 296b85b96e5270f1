"""No constant of the judge moves unnoticed, and each says where it comes from.

Whoever changes a figure changes it here too, and says beside it which source or bench set it, or that it is judgement.
"""

import ast
import importlib
import math
import re
from pathlib import Path

import numpy as np
import pytest

import listen.judge

ROOM = Path(listen.judge.__file__).parent
SAYS_WHERE_FROM = re.compile(
    r"judgement|bench|METHOD|worlds|[A-Z][a-z]+'?s? \(?(19|20)\d\d|AC 43|TM 10|recurrence|radiometer|golden|root|Gauss",
    re.IGNORECASE,
)
CONTINUES = re.compile(r"\.\.\.$")
"""One docstring serves several constants in a row; this one's goes on in the next."""
DERIVED = {"DB"}
"""By definition."""
FIGURES = {
    "air": {"FOLLOWING": 0.1, "SET_UP_BALANCE_DB": 8.0},
    "carried": {
        "CARRIED_BELOW_DB": -3.0,
        "CARRIED_DB": (4.0, 0.0, -4.0, -8.0, -14.0),
        "CARRIED_STEPS": (0.618033988749895, 0.41421356237309515, 0.7320508075688772),
        "BAY_DB": (-math.inf,) * 18 + (-1.0, -5.0),
        "BAY_STEPS": (0.6457513110645906, 0.3166247903553998, 0.8729833462074170),
        "BAY_SPREAD_DB": 2.5,
    },
    "blow_by": {
        "SOUND_STEP": 0.23606797749978967,
        "UNLIKE_SHARE": 0.1,
        "UNLIKE_DB": 9.0,
        "NO_LIKENESS": 0.02,
    },
    "engine": {"ODD": 0.1, "HALF_DB": 3.0, "LEAST_NATS": -12.0},
    "grounds": {"MOST_BLOW_BY_DB": 3.0, "MOST_LIMIT_DB": 15.0, "BUBBLES_SPEAK_DB": 10.0},
    "hypotheses": {"ONE_SIDE": 0.06, "UNHEARD_SHARE": 0.1},
    "loudness": {
        "SHARED": 0.7,
        "SCENARIOS": 24,
        "BAND_MOVES": 0.2,
        "BAND_MOVES_DB": (2.0, 8.0),
        "TAIL_DOF": 5.0,
        "BAND_ROUGH_DB": 0.12,
    },
    "next_best": {
        "MEASURED_TO_DB": 1.5,
        "CLEAR_LIMIT_DB": -8.0,
        "USUAL_SECONDS": 4.0,
        "LOSSES_PERCENT": (3.0, 6.0, 10.0, 15.0, 20.0, 30.0, 40.0, 50.0, 60.0, 70.0, 80.0, 90.0, 97.0),
        "WORTH_BITS": 0.02,
    },
    "posterior": {"MISLED": 0.02},
    "taught": {"WEIGHTS": (0.35, 0.75), "MOST": math.log(10.0), "LEAST_ODDS": 1e-4},
    "traits": {"HEARD_NATS": 3.0, "LOSSES_PERCENT": (0.5, 99.5), "NO_BUBBLE_HZ": 0.05},
    "readings": {
        "SUPPLIES_KPA": (50.0, 2000.0),
        "FREAK": 0.03,
        "RESTRICTORS_MM": {0.5: 0.05, 0.7: 0.12, 0.85: 0.13, 1.0: 0.4, 1.2: 0.13, 1.5: 0.12, 2.0: 0.05},
        "LEAST_PERCENT": 3.0,
        "HOLE_RANGE_MM": (0.1, 11.0),
        "OTHERS_SPREAD": 0.22,
        "OTHERS_SOUND": 0.6,
        "WET_RISE": {True: (0.22, 0.13), False: (0.05, 0.07)},
        "SEEN": {True: 0.85, False: 0.04},
        "COUNT_SPREAD": 0.35,
        "NONE_RISE": 0.15,
        "DETECTED_SHARE": 0.6,
        "WHISTLES": {True: 0.1, False: 0.03},
        "SHUT": {True: 0.5, False: 0.02},
        "STAYS": {True: 0.1, False: 0.9},
    },
    "shapes": {
        "SLOPES_DB_PER_OCTAVE": (-9.0, -6.0, -3.0, 0.0, 3.0, 6.0),
        "BENDS_DB_PER_OCTAVE2": (0.0, 1.0, 2.5),
        "SMOOTH_ERROR_DB": 3.0,
        "SMOOTH_ERROR_OCTAVES": 1.2,
        "ROUGH_ERROR_DB": 1.0,
    },
    "shop": {"RATES_WEIGH": 60.0, "LOSSES_WEIGH": 20.0},
    "smoothing": {
        "TAIL_SHARE": 0.15,
        "TAIL_FACTOR": 2.5,
        "TAIL_FROM_DB": 5.0,
        "STEP_DB": 2.0,
        "STRAY_FROM_DB": -10.0,
        "STRAY_FALLS_DB": 8.0,
        "EVENTS_FACTOR": 20.0,
        "MOST_STRAY": 0.4,
    },
    "sources": {
        "SILENT_SHARE": 0.02,
        "DRAWS": 384,
        "PLASTIC": (0.8191725133961645, 0.6710436067037893, 0.5497004779019703),
        "AIMED_SHARE": 0.7,
        "HISS_RANGE_DB": (-6.0, 24.0),
        "FAINT_SHARE": 0.2,
        "FAINTEST_DB": -16.0,
        "BLOW_BY_RANGE_DB": (-12.0, 16.0),
        "HISS_TAPER_DB": 4.0,
        "LOUD_SHARE": 0.3,
        "BETWEEN_CYLINDERS_DB": 2.5,
        "COOLANT_QUIETER_DB": -5.0,
        "MOST_TALK_DB": -4.0,
        "OUTSIDE_SPREAD_DB": 2.5,
    },
    "verdict": {
        "COST_OF_REPEAT": 1.0,
        "COST_OF_WRONG_TEARDOWN": 10.0,
        "NAME_AT": 0.9,
        "MENTION_AT": 0.1,
        "LEANS_BY": 0.03,
    },
}


def constants(module: Path) -> list[tuple[str, str]]:
    """Every constant of a module that holds a figure, with the words below it."""
    body, found = ast.parse(module.read_text()).body, []
    for i, statement in enumerate(body):
        if not isinstance(statement, ast.Assign | ast.AnnAssign) or statement.value is None:
            continue
        targets = statement.targets if isinstance(statement, ast.Assign) else [statement.target]
        names = [n.id for t in targets for n in ast.walk(t) if isinstance(n, ast.Name) and n.id.isupper()]
        figures = [
            n for n in ast.walk(statement.value) if isinstance(n, ast.Constant) and type(n.value) in (int, float)
        ]
        if names and figures:
            after = [s for s in body[i + 1 : i + 6] if isinstance(s, ast.Expr) and isinstance(s.value, ast.Constant)]
            words = " ".join(str(s.value.value) for s in after[:2]) if after else ""
            if after and not CONTINUES.search(str(after[0].value.value)):
                words = str(after[0].value.value)
            found += [(name, words) for name in names]
    return found


@pytest.mark.parametrize("module", sorted(ROOM.glob("*.py")), ids=lambda p: p.stem)
def test_every_constant_says_where_it_comes_from(module: Path) -> None:
    silent = [name for name, words in constants(module) if name not in DERIVED and not SAYS_WHERE_FROM.search(words)]
    assert silent == []


@pytest.mark.parametrize("module", FIGURES)
def test_no_figure_moves_unnoticed(module: str) -> None:
    held = vars(importlib.import_module(f"listen.judge.{module}"))
    assert {name: held[name] for name in FIGURES[module]} == FIGURES[module]


def test_the_list_is_whole() -> None:
    """Every plain figure of the room is on it; grids are worked out from few numbers and tested by what they do."""
    for module in ROOM.glob("*.py"):
        held = vars(importlib.import_module(f"listen.judge.{module.stem}"))
        plain = {n for n, _ in constants(module) if not isinstance(held[n], np.ndarray | np.floating)}
        listed = set(FIGURES.get(module.stem, {}))
        assert {n for n in plain if isinstance(held[n], int | float | tuple | dict)} - listed <= {
            "BASE",
            "SETS",
            "READ",
        }
