"""What the loss of all cylinders says, and whether it fits the compression."""

from collections.abc import Iterator
from statistics import median

import msgspec

from listen.diagnosis.case import LOSS, CylinderCase, EngineCase, Finding
from listen.diagnosis.compression import dry_test
from listen.diagnosis.ear import heard_share
from listen.trade.numbers import agreeing_share, threshold
from listen.trade.restrictor import REFERENCE_MM, SUPPLY_KPA, USUAL_MM, loss_behind
from listen.voice import figures

AGAIN, AFTER_RUN = "loss-again", "loss-after-run"
"""Losses read once more: at once, and after the engine was run, or the rings soaked."""


def behind_one_restrictor(case: EngineCase) -> EngineCase:
    """The case with every loss as it would read behind the restrictor that the tables are written for."""
    return msgspec.structs.replace(case, cylinders=tuple(_carried_over(c) for c in case.cylinders))


def _carried_over(c: CylinderCase) -> CylinderCase:
    bore, supply = c.figures.get("restrictor"), c.figures.get("supply", SUPPLY_KPA)
    if bore is None or bore == REFERENCE_MM or not USUAL_MM[0] <= bore <= USUAL_MM[1]:
        return c
    # Outside these it is a slip of the pen: the usual supply stands in (the judge takes the nearer bound).
    supply = supply if 50 <= supply <= 2000 else SUPPLY_KPA
    # All three were read behind the same bore.
    read = {name: c.figures[name] for name in (LOSS, AGAIN, AFTER_RUN) if name in c.figures}
    there = {name: round(loss_behind(loss, bore, REFERENCE_MM, supply), 1) for name, loss in read.items()}
    words = f"read as {read[LOSS]:g} % behind {bore:g} mm" if LOSS in read else ""
    return msgspec.structs.replace(c, figures={**c.figures, **there, "restrictor": REFERENCE_MM}, loss_read=words)


def stands_out(case: EngineCase, n: int) -> bool:
    """True where a cylinder loses far more than the others."""
    loss = case.read(LOSS)
    return len(loss) > 1 and loss[n] - _of_others(loss, n) >= threshold("loss_above_points")


def _of_others(loss: dict[int, float], n: int) -> float:
    return median(percent for m, percent in loss.items() if m != n)


def leakage_findings(case: EngineCase) -> list[Finding]:
    return [*_each(case), *_engine(case), *_beside_compression(case)]


def _each(case: EngineCase) -> Iterator[Finding]:
    loss = case.read(LOSS)
    for c in case.cylinders:
        n, percent = c.cylinder, c.figures.get(LOSS)
        if percent is None:
            continue
        again, after, apart = c.figures.get(AGAIN), c.figures.get(AFTER_RUN), stands_out(case, n)
        read = f"cylinder {n}: {percent:g} %"
        words = read + (f" ({c.loss_read})" if c.loss_read else "")
        if percent <= threshold("loss_good_percent"):
            yield Finding("loss-low", (n,), words)
        elif percent <= threshold("loss_usable_percent") and not apart:
            yield Finding("loss-usable", (n,), words)
        if apart:
            yield Finding("loss-stands-out", (n,), f"{words}, the others {_of_others(loss, n):g} %")
        elif len(loss) == 1 and percent > threshold("loss_high_percent"):
            yield Finding("loss-high-alone", (n,), words)
        if percent >= threshold("loss_total_percent") and not heard_share(c, "set-up"):
            yield Finding("loss-total", (n,), words)
        if after is not None and percent - after >= threshold("better_after_run_points"):
            yield Finding("loss-better-after-run", (n,), f"{read}, then {after:g} %")
        if again is not None and abs(again - percent) > threshold("loss_repeat_points"):
            yield Finding("loss-repeats-badly", (n,), f"{words}, then {again:g} %")


def _engine(case: EngineCase) -> list[Finding]:
    loss = case.read(LOSS)
    if len(loss) < len(case.engine.cylinders):
        return []
    low, high = min(loss.values()), max(loss.values())
    words = f"all {low:g} to {high:g} %"
    even = high - low <= threshold("loss_even_points")
    if high <= threshold("loss_good_percent"):
        return [Finding("loss-low", (), words)]
    if high <= threshold("loss_usable_percent") and even:
        return [Finding("loss-usable", (), words)]
    worn = low >= threshold("loss_usable_percent") and high <= threshold("loss_worn_percent")
    if worn and even and len(loss) > 1 and not _heard_elsewhere(case):
        return [Finding("loss-worn-even", (), words)]
    return []


def _heard_elsewhere(case: EngineCase) -> bool:
    """True where any path but the rings is likely on any cylinder."""
    harmless = ("rings", "none")
    return any(
        p >= threshold("path_likely") for c in case.cylinders for path, p in c.paths.items() if path not in harmless
    )


def _beside_compression(case: EngineCase) -> Iterator[Finding]:
    dry, loss = dry_test(case), case.read(LOSS)
    share, low, watch, apart = dry.share, dry.low, threshold("watch_share"), threshold("disagree_share")
    alike = len(loss) > 1 and max(loss.values()) - min(loss.values()) <= threshold("loss_even_points")
    if len(case.engine.cylinders) == 1:
        low = dry.short  # a single has no mates; the figure expected stands for them
    tight = {n for n, percent in loss.items() if n in low and percent <= threshold("loss_tight_percent")}
    if dry.all_low and len(tight) == len(loss) == len(case.engine.cylinders):
        words = f"loss {min(loss.values()):g} to {max(loss.values()):g} %"
        yield Finding("all-low-compression-low-loss", (), words)
    for n, percent in loss.items():
        beside = f", {figures.share(share[n])} of the best compression" if n in share else ""
        words = f"cylinder {n}: {percent:g} % loss{beside}"
        good = share.get(n, 0.0) >= watch and not dry.all_low and not alike
        below = n not in low and share.get(n, 1.0) < watch
        lowest, highest = agreeing_share(percent)
        agrees = lowest - apart <= share.get(n, lowest) <= highest + apart
        says = {
            "low-compression-but-tight": n in tight and percent <= threshold("loss_good_percent"),
            "low-compression-low-loss": n in tight and not dry.all_low,
            "below-mates-but-tight": below and percent <= threshold("loss_tight_percent"),
            "good-compression-high-loss": good and percent > threshold("loss_high_percent"),
            "loss-and-compression-disagree": not agrees and not dry.all_low,
        }
        yield from (Finding(id, (n,), words) for id, so in says.items() if so)
