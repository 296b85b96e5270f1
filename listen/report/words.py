"""Figures and identifiers of a job as words for a reader."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress

from listen.errors import HisswayError
from listen.jobs.events import ReadingEntered
from listen.judge.result import Verdict
from listen.trade.plugs import plug
from listen.trade.points import PATH_WORDS, PathId, point
from listen.trade.symptoms import symptom
from listen.trade.units import show

NOTHING = "\N{EN DASH}"
"""Stands where nothing was entered."""


def paths_in_words(paths: Iterable[str]) -> str:
    """Escape paths by their words; an unknown one as it is."""
    return ", ".join(PATH_WORDS[PathId(p)] if p in list(PathId) else p for p in paths) or NOTHING


def point_in_words(point_id: str) -> str:
    """A listening point by its words; an unknown one as it is."""
    with suppress(HisswayError):
        return point(point_id).words
    return point_id


def plugs_in_words(conditions: Iterable[str], text: str = "") -> str:
    """Plug conditions by their words, then free text."""
    said = []
    for condition in conditions:
        try:
            said.append(plug(condition).words)
        except HisswayError:
            said.append(condition)
    return "; ".join([*said, text] if text else said) or NOTHING


def symptom_in_words(symptom_id: str) -> str:
    """A symptom by its words; an unknown one as it is."""
    with suppress(HisswayError):
        return symptom(symptom_id).words
    return symptom_id


def reading_in_words(r: ReadingEntered | None) -> str:
    """A reading as entered, with kPa beside it where it was entered otherwise."""
    if r is None:
        return NOTHING
    entered = f"{r.value:g} {'%' if r.unit == 'percent' else r.unit}"
    doubts = f" (confirmed: {', '.join(r.confirmed)})" if r.confirmed else ""
    return entered + (f" ({show(r.si)})" if r.unit in ("psi", "bar") else "") + doubts


VERDICTS = {
    "path": "{paths}, {sure}",
    "several": "several at work: {paths}, {sure}",
    "sound": "sound, {sure}",
    "fitting": "the fitting leaks, {sure}",
    "set-up": "set-up to be repeated, {sure}",
    "unclear": "cannot tell: {paths}",
}
"""Verdicts of listening, by kind."""


def verdict_in_words(v: Verdict) -> str:
    """A verdict of listening in a few words."""
    form = VERDICTS.get(v.kind, "{paths}, {sure}")
    return form.format(paths=paths_in_words(v.paths), sure=percent(v.probability))


def signed(value: float | None, unit: str = "", digits: int = 1) -> str:
    """A figure with its sign and one decimal, or as many as asked."""
    if value is None:
        return NOTHING
    text = f"{value:+.{digits}f}".replace("-", "\N{MINUS SIGN}")
    return f"{text} {unit}" if unit else text


def db(value: float | None) -> str:
    """Decibels with sign and one decimal."""
    return signed(value, "dB")


def percent(probability: float) -> str:
    """A probability as a percentage that never claims certainty."""
    if probability > 0.99:
        return "above 99 %"
    return "below 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"


def moment(iso: str) -> str:
    """An ISO 8601 time in UTC, to the minute, readable."""
    return f"{iso[:10]} {iso[11:16]} UTC" if len(iso) >= 16 else iso
