"""The total leak by the decay after shut-off, set beside the loss reading of the round, in one sentence."""

from listen.errors import ReadingError
from listen.jobs.job import Job, RoundRecord
from listen.trade import restrictor
from listen.trade.restrictor import HOSE_M, HOSE_MM, REFERENCE_MM, SUPPLY_KPA

APART = 2.5
"""The two agree within this factor: hose within half, decay within a quarter, engine data and gauge within a tenth."""


def leak_sentence(job: Job, record: RoundRecord, decay_s: float) -> str:
    """What the decay makes of the leak; where the engine's data are missing, which of them."""
    names = ("displacement", "compression-ratio", "supply", "restrictor")
    figures = {name: r.si for name in names if (r := job.reading(name)) is not None}
    swept = figures.get("displacement", job.size.displacement_cc)
    ratio = figures.get("compression-ratio", job.size.compression_ratio)
    if swept is None or ratio is None or ratio <= 1.0:
        return "displacement and compression ratio, told among the facts, would turn that into litres a second"
    supply_kpa = figures.get("supply") or SUPPLY_KPA
    volume_l = restrictor.emptied_l(swept / len(job.engine.cylinders), ratio)
    leak = restrictor.leak_by_decay_l_s(decay_s, volume_l, supply_kpa)
    holds = f"chamber and {HOSE_M:g} m of {HOSE_MM:g} mm hose hold {volume_l:.2g} l"
    text = f"whole leak {leak:.2g} l/s of free air ({holds})"
    loss = job.reading("loss", round_id=record.id)
    try:
        hole = restrictor.leak_mm(loss.si, figures.get("restrictor") or REFERENCE_MM, supply_kpa) if loss else None
    except ReadingError:
        hole = None
    if hole is None:
        return text
    gauge = restrictor.leak_by_hole_l_s(hole, supply_kpa)
    apart = max(leak, gauge) / min(leak, gauge) > APART
    why = "; far apart: another hose, another restrictor, or not all of it is heard here" if apart else ""
    return f"{text}, the loss reading makes it {gauge:.2g} l/s{why}"
