"""What the panels ask at each step that is not a clip, and what the answers mean."""

from __future__ import annotations

from typing import TYPE_CHECKING

from listen.errors import HisswayError
from listen.jobs.events import BubblesLooked, Payload, ReadingEntered
from listen.trade.readings import Question, ask_loss, ask_supply
from listen.trade.units import Unit, read_pressure, unit_named
from tui.figures import figure
from tui.widgets.panels import Choice, Entry

if TYPE_CHECKING:
    from listen.jobs.job import Job

BUBBLES = (
    Choice("y", "yes", "yes, bubbles rose"),
    Choice("n", "no", "no bubbles"),
    Choice("l", "not-looked", "not looked"),
)
SKIPS = (
    Choice("1", "cannot be reached", "cannot be reached"),
    Choice("2", "not there on this engine", "not there on this engine"),
    Choice("3", "too loud there at the moment", "too loud there at the moment"),
    Choice("4", "no time", "no time"),
    Choice("5", "already known", "already known"),
    Choice("x", "", "do not leave it out"),
)
WHOLE_WALK = Choice("w", "walk", "leave out the rest of this walk")
LEFTOVER = (
    Choice("k", "keep", "keep it as a clip"),
    Choice("d", "drop", "drop it and record again"),
)


def bubbles_event(round_id: str, choice: str) -> BubblesLooked:
    """The event of the bubbles question."""
    return BubblesLooked(round_id=round_id, seen=choice)


def entries(step: str, job: Job) -> tuple[Entry, ...]:
    """Figures to type at a step."""
    if step == "supply":
        return (
            Entry("supply", "Supply pressure", job.pressure_unit),
            Entry("restrictor", "Restrictor bore, empty if not known", "mm"),
        )
    return (Entry("loss", "Loss read on the tester", "%"),)


def readings(
    values: dict[str, str], job: Job, round_id: str, *, sure: bool
) -> tuple[tuple[Payload, ...], tuple[Question, ...]]:
    """Events for the figures typed, or the questions to ask first (``sure``: they were answered with yes)."""
    cylinder = job.round(round_id).cylinder
    events: list[Payload] = []
    doubts: list[Question] = []
    if "loss" in values:
        loss = figure(values["loss"], "loss in percent")
        doubts += ask_loss(loss)
        if not 0 <= loss <= 100:
            raise HisswayError(f"loss {loss:g} %: from 0 to 100 can be; enter the percentage lost")
        events.append(_reading("loss", loss, "percent", loss, cylinder, round_id, doubts))
    if "supply" in values:
        unit: Unit = unit_named(job.pressure_unit)
        supply = read_pressure(values["supply"], unit)
        bore = figure(values["restrictor"], "restrictor bore in mm") if values.get("restrictor") else None
        doubts += ask_supply(supply, bore)
        events.append(_reading("supply", supply.value, supply.unit, supply.kpa, None, round_id, doubts))
        if bore is not None:
            events.append(_reading("restrictor", bore, "mm", bore, None, round_id, doubts))
    return tuple(events), () if sure else tuple(doubts)


def _reading(
    name: str, value: float, unit: str, si: float, cylinder: int | None, round_id: str, doubts: list[Question]
) -> ReadingEntered:
    return ReadingEntered(
        reading=name,
        value=value,
        unit=unit,
        si=si,
        cylinder=cylinder,
        round_id=round_id,
        confirmed=tuple(q.id for q in doubts),
    )
