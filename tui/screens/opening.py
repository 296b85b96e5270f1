"""Screens by name, loaded when they are opened: a key that only opens one is a binding, not a method."""

from pkgutil import resolve_name
from typing import Any, cast

from textual.screen import Screen

WHERE = {
    "cautions": "cautions:CautionScreen",
    "card": "card.screen:CardScreen",
    "compare": "compare.screen:CompareScreen",
    "confirm": "confirm.screen:ConfirmScreen",
    "diagnosis": "diagnosis.screen:DiagnosisScreen",
    "drill": "lab.drill:DrillScreen",
    "engine": "engine.screen:EngineScreen",
    "evidence": "evidence.screen:EvidenceScreen",
    "facts": "facts.screen:FactsScreen",
    "headphones": "lab.which:HeadphoneScreen",
    "hit-rate": "hit_rate.screen:HitRateScreen",
    "job": "page.screen:PageScreen",
    "lab": "lab.screen:LabScreen",
    "microphone": "microphone.screen:MicrophoneScreen",
    "new-job": "new_job.screen:NewJobScreen",
    "page": "page.screen:PageScreen",
    "photos": "photos.screen:PhotosScreen",
    "round": "round.screen:RoundScreen",
    "threshold": "lab.which:ThresholdScreen",
    "times": "round.times:TimesScreen",
    "verdict": "verdict.screen:VerdictScreen",
    "waiting": "waiting.screen:WaitingScreen",
}


def made(name: str, *about: object) -> Screen[Any]:
    """A screen of that name, about what is given."""
    return cast("Screen[Any]", resolve_name(f"{__package__}.{WHERE[name]}")(*about))
