"""The engine as a table: each cylinder's latest readings, wet rise, share of the highest, plug, latest round."""

import msgspec

from listen.jobs.events import PlugSeen, ReadingEntered
from listen.jobs.job import Job, RoundRecord
from listen.jobs.standing import latest_round


class CylinderRow(msgspec.Struct, frozen=True, kw_only=True):
    """One cylinder; None where nothing was entered."""

    cylinder: int
    dry: ReadingEntered | None = None
    wet: ReadingEntered | None = None
    loss: ReadingEntered | None = None
    plug: PlugSeen | None = None
    wet_rise_kpa: float | None = None
    """Wet minus dry."""
    share_of_highest: float | None = None
    """Dry reading over the highest dry reading, 0 to 1."""
    round: RoundRecord | None = None
    """The round that counts."""


def cylinder_rows(job: Job) -> tuple[CylinderRow, ...]:
    """One row a cylinder, in rising order."""
    highest = max((r.si for n in job.engine.cylinders if (r := job.reading("compression-dry", n))), default=0.0)
    return tuple(_row(job, n, highest) for n in job.engine.cylinders)


def _row(job: Job, n: int, highest_kpa: float) -> CylinderRow:
    dry, wet = job.reading("compression-dry", n), job.reading("compression-wet", n)
    return CylinderRow(
        cylinder=n,
        dry=dry,
        wet=wet,
        loss=job.reading("loss", n),
        plug=job.plugs.get(n),
        wet_rise_kpa=wet.si - dry.si if wet and dry else None,
        share_of_highest=dry.si / highest_kpa if dry and highest_kpa > 0 else None,
        round=latest_round(job, n),
    )


def lowest_share(rows: tuple[CylinderRow, ...]) -> float | None:
    """The lowest dry reading over the highest; None with fewer than two readings."""
    shares = [r.share_of_highest for r in rows if r.share_of_highest is not None]
    return min(shares) if len(shares) > 1 else None
