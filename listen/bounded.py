"""Numbers as they may be stored: each with the least and the most that any instrument, engine or clip of ours gives.

A figure beyond them comes from a damaged or hostile file; taken at its word, it would be drawn, summed and waited for.
"""

from typing import Annotated

from msgspec import Meta

Cylinder = Annotated[int, Meta(ge=1, le=99)]
"""A cylinder's number."""
Count = Annotated[int, Meta(ge=0, le=10**12)]
"""Samples, bytes, events: a disk full of them is less."""
Hertz = Annotated[int, Meta(ge=1, le=10**7)]
"""A sample rate; the fastest converters for sound stay below 1 MHz."""
Pixels = Annotated[int, Meta(ge=1, le=10**6)]
Seconds = Annotated[float, Meta(ge=0, le=10**6)]
"""Within a clip or a take."""
Decibel = Annotated[float, Meta(ge=-1000, le=1000)]
"""A level or a ratio of powers: what single-precision samples can hold spans 760 dB."""
Deciban = Annotated[float, Meta(ge=-(10**6), le=10**6)]
"""Weight of evidence; a point's likelihoods may differ by thousands."""
Share = Annotated[float, Meta(ge=-1e-6, le=1 + 1e-6)]
"""A probability or a share, as sums of rounded figures may leave it."""
Rate = Annotated[float, Meta(ge=0, le=10**6)]
Reading = Annotated[float, Meta(ge=-(10**7), le=10**7)]
"""Read off a gauge or a plate, in the unit it was read in."""
Figure = Annotated[float, Meta(ge=-1e20, le=1e20)]
"""What a flag measured, in whatever unit; only that it has an end is asked."""
