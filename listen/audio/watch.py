"""How a stream goes wrong without saying so: silence of callbacks, exact zeros, samples missing against the clock.

Callback streams never raise and set no flag when a device is lost; every row of this was provoked on a real stream.
"""

from collections import deque

import numpy as np
from numpy.typing import NDArray

BLOCKS_A_SECOND = 100
"""Callbacks a second; a fixed block size, since PortAudio's own choice is ragged."""
QUIET_S = 0.75
"""No callback for so long means that the device has stopped: callbacks come every 10 ms, analysis in this process
delays them by 0.2 s, eight busy programs a core by 0.6 s."""
ZEROS_S = 0.6
"""A run of exact zeros this long means that the device is muted or gone: a real microphone always has some noise. With
the latency of 0.15 s and the screen's own 0.1 s it is read within one second."""
GAP_S = 0.01
"""Runs of exact zeros from this length on are told as gaps: one block, since a shorter one inside a block is not looked
for. A server under load was seen to slip in 30 ms; chance makes no such run, even in 16 bits."""
MISSING_S = 0.08
"""Wall time may run ahead of sound time by so much; more means that samples were lost on the way."""
LAG_S = 0.5
"""The smallest lag over this time is taken, so that one late callback is no alarm."""
MEMORY_S = 3.0
"""The lag is compared with the smallest one this far back: long enough to see a loss, short enough that the alarm ends
once all is well again; clocks that differ by 100 ppm drift 0.3 ms in it."""


class Watch:
    """Follows one stream, or one take of it, by the monotonic clock.

    One thread calls :meth:`saw`; any thread may ask :meth:`trouble`, which reads single numbers only.
    """

    def __init__(self, rate_hz: int, now: float) -> None:
        self._rate_hz = rate_hz
        self._began = now
        self._last = now
        self._frames = 0
        self._zeros = 0
        self._missing_s = 0.0
        self._recent: deque[float] = deque(maxlen=round(LAG_S * BLOCKS_A_SECOND))
        self._base: deque[float] = deque(maxlen=round(MEMORY_S * BLOCKS_A_SECOND))
        self._gaps: list[tuple[float, float]] = []

    def saw(self, block: NDArray[np.float32], at: float) -> None:
        """Take note of a block [shape=(n,)] whose callback ran at ``at``."""
        self._last = at
        self._count_zeros(block)
        self._frames += len(block)
        # Wall time less sound time: a late callback raises it for a moment, lost samples for good.
        lag = at - self._began - self._frames / self._rate_hz
        self._recent.append(lag)
        self._base.append(lag)
        self._missing_s = min(self._recent) - min(self._base)

    def trouble(self, now: float) -> str:
        """What is wrong at ``now``, the worst first, in words that follow the microphone's name; empty for nothing."""
        if (s := now - self._last) > QUIET_S:
            return f"has sent nothing for {s:.1f} s: it hangs or was put to sleep; unplug it and plug it in again"
        if (s := self._zeros / self._rate_hz) >= ZEROS_S:
            return f"has sent exact zeros for {s:.1f} s: muted, switched off or another input; unmute it"
        if (s := self._missing_s) > MISSING_S:
            return f"stalled and {s:.2f} s of sound are missing; close other programs that use it"
        return ""

    @property
    def gaps(self) -> tuple[tuple[float, float], ...]:
        """Runs of exact zeros so far: (start, length) in seconds."""
        ending = self._gap(self._frames)
        return (*self._gaps, *([ending] if ending else []))

    def _count_zeros(self, block: NDArray[np.float32]) -> None:
        sounding = np.flatnonzero(block)
        if not len(sounding):
            self._zeros += len(block)
            return
        self._zeros += int(sounding[0])
        if ended := self._gap(self._frames + int(sounding[0])):
            self._gaps.append(ended)
        self._zeros = len(block) - 1 - int(sounding[-1])

    def _gap(self, end: int) -> tuple[float, float] | None:
        if self._zeros < GAP_S * self._rate_hz:
            return None
        return ((end - self._zeros) / self._rate_hz, self._zeros / self._rate_hz)
