"""One short recording of the chosen input, looked at and thrown away."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from listen.temporary_folder import temporary_folder
from tui.bridge.threads import in_thread

if TYPE_CHECKING:
    from listen.signal.quality_mic import MicReport
    from tui.bridge.listener import Listener

CHECK_S = 4.0
CALIBRATE_S = 3.0


@dataclass(frozen=True, slots=True)
class Calibrated:
    """What full scale stands for, and the calibrator it came from."""

    full_scale_db_spl: float
    calibrator_db: float


async def check(listener: Listener) -> MicReport:
    """Judge the input by a few seconds of the shop. Raises what recording and measuring raise."""
    with temporary_folder("hissway-mic-") as folder:
        recording = await listener.record(folder / "check.part", CHECK_S)
        return await in_thread(_report, recording.part)


async def calibrate(listener: Listener, calibrator_db: float) -> Calibrated:
    """Level of full scale by a calibrator's tone. Raises what recording and measuring raise."""
    with temporary_folder("hissway-mic-") as folder:
        recording = await listener.record(folder / "calibrate.part", CALIBRATE_S)
        return Calibrated(await in_thread(_full_scale, recording.part, calibrator_db), calibrator_db)


def _report(part: Path) -> MicReport:
    from listen.audio.partial import read_part
    from listen.signal.quality_mic import check_microphone
    from listen.signal.spectra import spectra

    clip = read_part(part)
    return check_microphone(clip, spectra(clip))


def _full_scale(part: Path, calibrator_db: float) -> float:
    from listen.audio.partial import read_part
    from listen.signal.quality_mic import full_scale_db_spl

    return full_scale_db_spl(read_part(part), calibrator_db)
