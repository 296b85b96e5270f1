"""The error tree: every failure a user can meet, each one clear sentence of what, where, the limit and what to do."""

from collections.abc import Iterator
from contextlib import contextmanager

MAX_WORDS = 600
"""Longest sentence shown, in characters; a damaged file may quote itself at any length."""


class HisswayError(Exception):
    """Base of all errors a user may be shown; ``str(error)`` is one clear sentence, ready for a screen."""

    exit_code = 1

    def __str__(self) -> str:
        """The sentence on one line, without signs that upset a terminal (a file name may hold any)."""
        text = super().__str__()
        if len(text) > MAX_WORDS:
            text = f"{text[: MAX_WORDS * 2 // 3]} ... {text[-MAX_WORDS // 3 :]}"  # the advice stands at the end
        if text.isprintable():
            return text
        return "".join(c if c.isprintable() else " " if c.isspace() else "\N{REPLACEMENT CHARACTER}" for c in text)


@contextmanager
def refusal(kind: type[HisswayError], what: str, to_do: str = "") -> Iterator[None]:
    """Tell an ``OSError`` inside in one sentence: ``<what> (<why>); <to_do>``."""
    try:
        yield
    except OSError as error:
        raise kind(f"{what} ({error.strerror or error})" + (f"; {to_do}" if to_do else "")) from error


class UsageError(HisswayError):
    """A command was asked for something it does not know (exit code 2)."""

    exit_code = 2


class ClipError(HisswayError):
    """A sound file or clip that cannot be measured: unreadable, empty, not finite, or of a form we do not take."""


class RoundError(HisswayError):
    """A round that cannot be judged: unknown names, a point without a quiet clip, mixed rates, impossible readings."""


class EngineError(HisswayError):
    """An engine described in a way that cannot be: numbers missing or doubled, an order or head that does not fit."""


class ReadingError(HisswayError):
    """A reading that is no reading: not a number, not a known unit, below zero."""


class AudioError(HisswayError):
    """The microphone or loudspeaker cannot be used."""


class NoPortAudio(AudioError):
    """The PortAudio library is not installed; everything but recording and playback still works."""


class DeviceNotFound(AudioError):
    """No such input or output."""


class DeviceLost(AudioError):
    """The device went away, fell silent or stalled in the middle of a clip; what had arrived is kept."""


class ReportError(HisswayError):
    """A report that cannot be written."""


class JobError(HisswayError):
    """A job folder that cannot be opened, read or written."""


class JobLocked(JobError):
    """Another program records at this job's engine, or is writing to it all the while."""


class JobChanged(JobError):
    """Another program wrote to the job what whoever was about to write had not seen; look again."""


class JournalBroken(JobError):
    """The journal's chain of hashes does not hold from some event on."""


class LabError(HisswayError):
    """A drill, session or learner of the training lab that cannot be found, read or written."""
