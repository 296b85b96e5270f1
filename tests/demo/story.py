"""What happens on the demo job, in order: readings, walks, calls, verdicts. Engine, shop and people are invented."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from listen.jobs import events as ev
from listen.jobs.to_round import judged, to_round
from listen.jobs.ways import SWITCHED
from listen.judge.result import RoundResult
from listen.lab.shipped import LEFT_ROUND, MAIN_ROUND
from listen.lab.simulator.render import render
from listen.lab.simulator.scene import RoundSpec, Switched
from listen.lab.simulator.switching_hand import Hand, as_switched
from listen.signal.switching import commanded_times
from listen.trade.points import Kind
from tests.demo.ledger import Ledger
from tests.demo.scenes import ENGINE, FIRST_TRY_LOSS, LOSS, MICROPHONE, demo_scene

TITLE = "Launch tractor: pops back through the intake"
SHOP = "Shingle End Boat Shed"
TECH = "Una Brack"
SUPERVISOR = "Oskar Vey"
SUPPLY_KPA = 550.0
RESTRICTOR_MM = 1.0
DRY_KPA = {1: 1240.0, 2: 1225.0, 3: 1215.0, 4: 1235.0, 5: 900.0}
WET_KPA = {1: 1275.0, 5: 930.0}
"""Wet, with the same measured dose: cylinder 1 as the control."""
WET_LATER_KPA = {2: 1262.0}
PLUGS = {1: ("tan-dry",), 2: ("tan-dry",), 3: ("tan-dry",), 4: ("tan-dry",), 5: ("soot-dry",)}
SYMPTOMS = ("misfire-idle", "popping-intake")
COMMANDED = commanded_times(3, 4.0)
"""Of the switched takes: 14 s each, so that what is shipped stays small."""


@dataclass(frozen=True, slots=True)
class Told:
    """One round of the story."""

    round_id: str
    cylinder: int
    title: str
    by_ear: tuple[str, ...]
    sure: float
    bubbles: str
    only: tuple[str, ...] | None = None
    left_out: str = ""
    """Why the points beyond ``only`` were not walked."""
    way: str = "walks"


ROUNDS: tuple[Told, ...] = (
    Told("c1-2b7f90", 1, "sound cylinder for comparison", ("none",), 0.8, "no"),
    Told(
        "c3-c40e17",
        3,
        "first try",
        ("exhaust-valve",),
        0.6,
        "not-looked",
        only=("intake", "tailpipe", "oil-filler"),
        left_out="Nothing held: top dead centre to be found again first.",
    ),
    Told("c2-91d3f8", 2, "taken with the borrowed valve in the hose", ("none",), 0.8, "no", way=SWITCHED),
    Told(MAIN_ROUND, 5, "the low cylinder", ("intake-valve",), 0.7, "no"),
)


def scene(told: Told) -> RoundSpec:
    """What this round heard; switched, by a hand that is a little late and uneven."""
    walked = demo_scene(told.cylinder, told.only, first_try=True)
    if told.way != SWITCHED:
        return walked
    rng = np.random.default_rng(walked.seed)
    turned = {p.point: Hand().turns(rng, COMMANDED) for p in walked.points}
    how = {point: Switched(on_s=on_s, decay_s=0.3, wander_db=0.3) for point, on_s in turned.items()}
    return as_switched(walked, COMMANDED, how)


def reading(name: str, value: float, cylinder: int | None = None, round_id: str | None = None) -> ev.ReadingEntered:
    """A reading in the unit it is kept in."""
    unit = {"loss": "percent", "restrictor": "mm"}.get(name, "kPa")
    return ev.ReadingEntered(reading=name, value=value, unit=unit, si=value, cylinder=cylinder, round_id=round_id)


def take_in(ledger: Ledger) -> None:
    """The job is opened, the engine described, the whole engine read."""
    complaint = "Stood all winter. Idles unevenly, pops back through the intake when cold. Uses no oil and no coolant."
    size = ev.EngineSize(displacement_cc=2480.0, bore_mm=82.0, compression_ratio=9.6, text="invented for this demo")
    ledger.add(
        ev.JobOpened(
            job=ledger.identifier("job", digits=32),
            title=TITLE,
            shop=SHOP,
            engine=ENGINE,
            size=size,
            complaint=complaint,
            simulated=True,
        ),
        ev.PersonChosen(role="tech", name=TECH),
        ev.PersonChosen(role="supervisor", name=SUPERVISOR),
        ev.NoteAdded(
            text="SIMULATED: no engine and no microphone. Clips come from the simulator, truth beside the job."
        ),
        *(ev.SymptomNoted(symptom=s) for s in SYMPTOMS),
        *(ev.PlugSeen(cylinder=n, conditions=c) for n, c in PLUGS.items()),
    )
    ledger.add(*(reading("compression-dry", v, n) for n, v in DRY_KPA.items()), after_s=70)
    ledger.add(*(reading("compression-wet", v, n) for n, v in WET_KPA.items()), after_s=150)
    ledger.add(
        ev.MicrophoneChecked(device=MICROPHONE.name, rate_hz=48_000, verdict="good", text="simulated"), after_s=90
    )


def _switched(ledger: Ledger, told: Told) -> None:
    """Every point by one take, the microphone standing; the call by ear comes after them."""
    ledger.add(*(reading("compression-wet", v, n) for n, v in WET_LATER_KPA.items()), after_s=150)
    ledger.add(ev.WayChosen(way=SWITCHED), ev.CautionAcknowledged(caution="switching", round_id=told.round_id))
    for (point, kind, _), clip in render(scene(told)).items():
        ledger.keep(clip, told.round_id, point, str(kind), SWITCHED, on_s=COMMANDED)
    ledger.add(
        ev.ByEarCalled(round_id=told.round_id, paths=told.by_ear, sure=told.sure, name=TECH),
        ev.AirFollowed(round_id=told.round_id, seen="yes"),
        ev.WayChosen(way="walks"),
    )


def _walk(ledger: Ledger, told: Told) -> None:
    clips = render(scene(told))
    points = list(dict.fromkeys(p for p, _, _ in clips))
    for walk, kind, order in (("quiet", Kind.QUIET, 1), ("air", Kind.AIR, 1), ("closing", Kind.QUIET, 2)):
        for point in points:
            ledger.keep(clips[(point, kind, order)], told.round_id, point, str(kind), walk)
        if walk == "quiet":
            # The call by ear comes before any number of the air walk can be seen.
            ledger.add(ev.ByEarCalled(round_id=told.round_id, paths=told.by_ear, sure=told.sure, name=TECH), after_s=20)
            ledger.wait(10.0)
        else:
            ledger.wait(30.0)


def walk_round(ledger: Ledger, told: Told) -> None:
    """One cylinder: cautions, supply, loss, quiet walk, call by ear, air walk, closing walk, bubbles."""
    r = told.round_id
    ledger.add(
        ev.RoundOpened(round_id=r, cylinder=told.cylinder, title=told.title),
        ev.CautionAcknowledged(caution="set-up", round_id=r),
        reading("supply", SUPPLY_KPA, round_id=r),
        reading("restrictor", RESTRICTOR_MM, round_id=r),
        reading("loss", FIRST_TRY_LOSS if told.cylinder == 3 else LOSS[told.cylinder], told.cylinder, r),
    )
    if told.only is not None:
        skipped = [p.point for p in demo_scene(told.cylinder).points if p.point not in told.only]
        ledger.add(*(ev.PointSkipped(round_id=r, point=p, reason=told.left_out) for p in skipped), after_s=2)
    (_switched if told.way == SWITCHED else _walk)(ledger, told)
    ledger.add(ev.BubblesLooked(round_id=r, seen=told.bubbles))
    ledger.wait(20.0)


def judge_round(ledger: Ledger, told: Told) -> RoundResult:
    """Judge a round from its clips and keep the result."""
    from listen.rounds.evaluate import evaluate

    result = evaluate(to_round(ledger.job, told.round_id, ledger.folder))
    ledger.add(judged(ledger.job, told.round_id, result), after_s=3)
    return result


def after_rounds(ledger: Ledger, told: Told) -> None:
    """What follows a verdict: the sound cylinder is confirmed, the wrong set-up found and read again."""
    if told.cylinder == 1:
        ledger.actor = SUPERVISOR
        words = "Quiet at every point but the filler, as a sound one should be."
        ledger.add(ev.Confirmed(round_id=told.round_id, name=SUPERVISOR, text=words), after_s=300)
        ledger.actor = TECH
    if told.cylinder == 3:
        text = "Was a good way off top dead centre. Came up again by hand; the loss then read 10 percent."
        ledger.add(ev.NoteAdded(text=text, cylinder=3, round_id=told.round_id), after_s=240)
        ledger.add(
            ev.RoundOpened(round_id=LEFT_ROUND, cylinder=3, title="second try"),
            ev.CautionAcknowledged(caution="set-up", round_id=LEFT_ROUND),
            reading("loss", LOSS[3], 3, LEFT_ROUND),
        )
        ledger.add(*(reading("loss", LOSS[n], n) for n in (2, 4)), after_s=200)


def tell(ledger: Ledger) -> None:
    """The whole story."""
    ledger.actor = TECH
    take_in(ledger)
    for told in ROUNDS:
        walk_round(ledger, told)
        judge_round(ledger, told)
        after_rounds(ledger, told)
