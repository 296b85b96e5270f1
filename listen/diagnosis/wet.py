"""What oil in the cylinder did to the compression, beside what the same oil did in a good cylinder."""

from listen.diagnosis.case import CylinderCase, EngineCase, Finding
from listen.diagnosis.compression import dry_test
from listen.diagnosis.ear import filler_on_all, heard_share
from listen.trade.numbers import threshold


def wet_findings(case: EngineCase) -> list[Finding]:
    """Large, partial or no rise on every cylinder that is not good; good ones serve as control."""
    dry = dry_test(case)
    control = None if dry.all_low else _control(case, dry.share)
    found = []
    for c in case.cylinders:
        if not c.dry_kpa or c.wet_kpa is None:
            continue
        if dry.share.get(c.cylinder, 0.0) >= threshold("watch_share") and not dry.all_low:
            continue
        row = _alone(c.dry_kpa, c.wet_kpa) if control is None else _beside(c.dry_kpa, c.wet_kpa, control)
        if row == "wet-rise" and case.engine.fuel == "diesel":
            row = "partial-wet-rise"  # the oil itself fills a diesel's small chamber
        if row == "no-wet-rise" and case.engine.lies_flat:
            row = "no-wet-rise-lying"
        elif row == "no-wet-rise" and heard_share(c, "rings") and not filler_on_all(case):
            row = "no-wet-rise-heard"
        found.append(Finding(row, (c.cylinder,), _detail(c, control)))
    return found


LEAST_KPA = 1.0
"""No gauge shows less; a rise over nothing has no ratio."""


def _control(case: EngineCase, share: dict[int, float]) -> CylinderCase | None:
    """The good cylinder that rose least; one that loses air is none, however even the compression."""
    read = [c for c in case.cylinders if (c.wet_kpa or 0) >= LEAST_KPA and (c.dry_kpa or 0) >= LEAST_KPA]
    good = [c for c in read if share.get(c.cylinder, 0) >= threshold("watch_share")]
    good = [c for c in good if c.loss_percent is None or c.loss_percent <= threshold("loss_usable_percent")]
    return min(good, key=lambda c: (c.wet_kpa or 0) / (c.dry_kpa or 1), default=None)


def _beside(dry: float, wet: float, control: CylinderCase) -> str:
    assert control.dry_kpa and control.wet_kpa
    extra_kpa = (wet - dry) - (control.wet_kpa - control.dry_kpa)
    extra_ratio = (wet / dry) / (control.wet_kpa / control.dry_kpa)
    if wet - dry < threshold("no_wet_rise_kpa"):
        return "no-wet-rise"
    if extra_kpa >= threshold("wet_rise_kpa") and extra_ratio > threshold("wet_rise_ratio"):
        return "wet-rise"
    return "no-wet-rise" if extra_ratio < threshold("no_wet_rise_ratio") else "partial-wet-rise"


def _alone(dry: float, wet: float) -> str:
    if wet - dry < threshold("no_wet_rise_kpa"):
        return "no-wet-rise"
    if wet - dry >= threshold("wet_rise_kpa") and wet / dry > threshold("wet_rise_ratio_alone"):
        return "wet-rise"
    return "no-wet-rise" if wet / dry < threshold("no_wet_rise_ratio_alone") else "partial-wet-rise"


def _detail(c: CylinderCase, control: CylinderCase | None) -> str:
    assert c.dry_kpa and c.wet_kpa is not None
    words = f"cylinder {c.cylinder}: {c.dry_kpa:.0f} dry, {c.wet_kpa:.0f} kPa wet"
    if control is None:
        return words + ", no good cylinder served as control"
    assert control.dry_kpa and control.wet_kpa
    return words + f"; control cylinder {control.cylinder}: {control.dry_kpa:.0f} and {control.wet_kpa:.0f} kPa"
