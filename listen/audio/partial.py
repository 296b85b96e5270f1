"""A clip while it is being recorded: a plain file that any crash leaves readable, and its way to a finished one.

Form: a header of ``HEADER_BYTES`` (one line of JSON padded with spaces), then float32 samples, little-endian, one
channel.
"""

import dataclasses
import os
from concurrent.futures import Future, ThreadPoolExecutor
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Annotated, Literal, Self

import msgspec
import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from listen.audio.write import write_clip
from listen.durable import new_file, read_file, remove_if_possible, sync_folder
from listen.errors import ClipError
from listen.signal.clip import Clip

HEADER_BYTES = 512
"""One disk sector, so that rewriting it with the overflow count is whole or not at all."""
SYNC_S = 0.5
"""Longest sound not yet on the disk; with the device's latency a crash loses less than the last second."""
MOST_BYTES = HEADER_BYTES + 4 * 600 * 192_000
"""Ten minutes at the highest rate; a larger file is no part of ours."""
_SAMPLE = np.dtype("<f4")


_Count = Annotated[int, msgspec.Meta(ge=0)]


class PartHeader(msgspec.Struct, frozen=True):
    rate_hz: _Count
    device: str
    started: datetime | None
    """When the first sample was taken, UTC; None where nobody knows."""
    overflows: _Count = 0
    frames: _Count | None = None
    """Samples in all, once the recording has ended in good order."""
    coded: str = ""
    """As :attr:`listen.signal.clip.Clip.coded`."""
    schema: Literal["hissway.part/1"] = "hissway.part/1"

    def encode(self) -> bytes:
        """One padded line of ``HEADER_BYTES``; a device name too long for it is cut."""
        device = self.device[:HEADER_BYTES].encode("utf-8", "replace").decode()
        line = msgspec.json.encode(replace(self, device=device))
        if (over := len(line) - (HEADER_BYTES - 1)) > 0:
            fewer = -(-over // 6)  # a control character takes six bytes; others less, so it may be asked again
            return replace(self, device=device[:-fewer]).encode()
        return line.ljust(HEADER_BYTES - 1) + b"\n"


class PartWriter:
    """Writes blocks to a new part; a thread of its own puts them on the disk every ``SYNC_S``. A context manager.

    ``OSError`` wherever the disk refuses, also where it refused a sync asked for earlier.
    """

    def __init__(self, path: Path, header: PartHeader) -> None:
        self.header = header
        self.frames = 0
        self._asked = 0
        self._file = os.fdopen(new_file(path), "wb", buffering=0)
        try:
            self._all(header.encode())
            os.fsync(self._file.fileno())
            # The name too, before the first sample: a crash in the first second must leave a file that is found.
            sync_folder(path.parent)
        except OSError:
            self._file.close()
            remove_if_possible(path)  # no sound was in it
            raise
        self._aside = ThreadPoolExecutor(1, "sync")
        self._syncing: Future[None] | None = None

    def write(self, block: NDArray[np.float32], overflows: int) -> None:
        """Append ``block`` [shape=(n,)]; ``overflows`` counts those seen so far."""
        self._all(np.ascontiguousarray(block, dtype=_SAMPLE).tobytes())
        self.frames += len(block)
        if overflows != self.header.overflows:
            self._amend(replace(self.header, overflows=overflows))
        if self.frames - self._asked >= SYNC_S * self.header.rate_hz:
            self._sync_aside()

    def _all(self, data: bytes) -> None:
        while data:
            data = data[self._file.write(data) :]

    def _amend(self, header: PartHeader) -> None:
        self.header = header
        self._file.seek(0)
        self._all(header.encode())
        self._file.seek(0, os.SEEK_END)

    def _sync_aside(self) -> None:
        """Put what there is on the disk while blocks go on being taken; a slow disk is asked again when it is done."""
        if self._syncing is not None:
            if not self._syncing.done():
                return
            self._syncing.result()
        self._syncing = self._aside.submit(os.fsync, self._file.fileno())
        self._asked = self.frames

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if self._syncing is not None:
                self._syncing.result()
            self._amend(replace(self.header, frames=self.frames))
            os.fsync(self._file.fileno())
        finally:
            self._aside.shutdown()
            self._file.close()


def write_part(path: Path, clip: Clip) -> None:
    """Put a whole clip into a new part (``OSError`` where the disk refuses; nothing is left then)."""
    with_whom = PartHeader(clip.rate_hz, clip.device, clip.taken, clip.overflows, coded=clip.coded)
    try:
        with PartWriter(path, with_whom) as writer:
            writer.write(clip.samples, clip.overflows)
    except OSError:
        remove_if_possible(path)
        raise


def read_part(path: Path) -> Clip:
    """Read what a part holds, up to where a crash tore it.

    After a crash a torn last sample, samples that are not finite and a zero-filled tail (left by a power cut) are cut.

    Raises ClipError: not a part, or no sound in it yet."""
    try:
        data = read_file(path, MOST_BYTES)
        header = msgspec.json.decode(data[:HEADER_BYTES], type=PartHeader)
    except OSError as error:
        raise ClipError(f"{path.name}: cannot be read ({error.strerror or error})") from error
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise ClipError(f"{path.name}: not an unfinished clip of this program") from error
    held = max(0, len(data) - HEADER_BYTES) // _SAMPLE.itemsize
    samples = np.frombuffer(data, _SAMPLE, held, HEADER_BYTES) if held else np.zeros(0, _SAMPLE)
    # Where it ended in good order nothing is cut: zeros at its end were recorded.
    if header.frames is None or header.frames > held:
        samples = _whole(samples)
    if not len(samples):
        raise ClipError(f"{path.name}: no sound had arrived yet; record this clip again")
    h = header
    return Clip.of(
        samples, h.rate_hz, taken=h.started, device=h.device, overflows=h.overflows, coded=h.coded, name=path.name
    )


def finish(part: Path, to: Path) -> Clip:
    """Turn a part into a FLAC or WAV file and return its clip; the part goes once the file is on the disk, if it can.

    Raises ClipError: as :func:`read_part` and :func:`listen.audio.write.write_clip`; the part stays. OSError: the
    disk is full or the folder cannot be written; the part stays."""
    clip = dataclasses.replace(read_part(part), name=to.name)
    write_clip(to, clip)
    if remove_if_possible(part):
        sync_folder(part.parent)
    return clip


def _whole(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    finite = np.isfinite(samples)
    if not finite.all():
        samples = samples[: int(np.argmin(finite))]
    sounding = np.flatnonzero(samples)
    return samples[: int(sounding[-1]) + 1] if len(sounding) else samples[:0]
