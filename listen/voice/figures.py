"""How a figure is written: numbers, decibels, probabilities, shares, frequencies, readings with their units."""

from listen.trade.units import show, unit_named

MINUS = "\N{MINUS SIGN}"
UNKNOWN = "\N{EN DASH}"
UNITS = {"percent": "%"}
"""Units of the journal that are written otherwise."""


def number(value: float | None, decimals: int = 1, *, sign: bool = False) -> str:
    """A number with a true minus and no minus before zero, or a dash where there is none."""
    if value is None:
        return UNKNOWN
    text = f"{value:+.{decimals}f}" if sign else f"{value:.{decimals}f}"
    # After rounding: -0.04 is written as 0.0.
    if float(text) == 0:
        text = text.lstrip("+-")
    return text.replace("-", MINUS)


def decibels(value: float | None, decimals: int = 1, *, sign: bool = True) -> str:
    return UNKNOWN if value is None else f"{number(value, decimals, sign=sign)} dB"


def sure(probability: float | None) -> str:
    """A probability in whole percent, never 0 or 100: nothing that is judged is ever certain."""
    if probability is None:
        return UNKNOWN
    if probability < 0.01:
        return "<1 %"
    return ">99 %" if probability > 0.99 else f"{100 * probability:.0f} %"


def sure_range(low: float, high: float) -> str:
    """A range of probabilities: one figure where both read the same."""
    least, most = sure(low), sure(high)
    return least if least == most else f"{least} to {most}"


def share(counted: float | None) -> str:
    """A share that was counted or measured, in whole percent: 0 and 100 can be."""
    return UNKNOWN if counted is None else f"{number(100 * counted, 0)} %"


def counted(n: int, what: str) -> str:
    """How many of something whose plural takes an s."""
    return f"{n} {what}{'' if n == 1 else 's'}"


def share_interval(ci95: tuple[float, float] | None) -> str:
    return UNKNOWN if ci95 is None else f"{share(ci95[0])} to {share(ci95[1])}"


def in_unit(value: float | None, unit: str, decimals: int = 1, *, sign: bool = False) -> str:
    """A figure with its unit as the journal names it."""
    return UNKNOWN if value is None else f"{number(value, decimals, sign=sign)} {UNITS.get(unit, unit)}"


def as_read(value: float, unit: str) -> str:
    """A reading as it was entered: no digit more, none less."""
    return f"{value:g} {UNITS.get(unit, unit)}".replace("-", MINUS)


def pressure(kpa: float, unit: str = "kPa") -> str:
    """A pressure in the unit of the job, in steps that a gauge can show."""
    return show(kpa, unit_named(unit))
