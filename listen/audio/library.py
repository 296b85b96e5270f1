"""PortAudio as a guest that may be missing or stop answering: loading, listing and stopping it without ever hanging."""

from __future__ import annotations

import atexit
import sys
import threading
from collections.abc import Callable
from typing import Any, TypeVar

from listen.errors import AudioError, NoPortAudio

START_S = 5.0
"""Longest wait for PortAudio to start and ask every device what it can."""
ANSWER_S = 1.5
"""Longest wait for the sound system; a healthy one opens or stops a stream within 0.1 s."""

_T = TypeVar("_T")


class _State:
    """What this process knows of PortAudio; ``streams`` changes under ``_calls`` only."""

    loaded = False
    streams = 0
    stuck = False


_calls = threading.Lock()
"""PortAudio's own calls may not overlap; a hung one keeps this for good, and then nothing is called any more."""


def portaudio() -> Any:
    """The ``sounddevice`` module.

    Raises
    ------
    NoPortAudio
        The PortAudio library is not installed.
    AudioError
        A call into the sound system never came back; no new stream can be had in this process.
    """
    if _State.stuck:
        raise AudioError(
            "the sound system no longer answers; what was recorded is kept, close Hissway and start it again"
        )
    try:
        return sys.modules["sounddevice"] if _State.loaded else answered(_load, "starting", START_S)
    except OSError as error:
        raise NoPortAudio(
            "recording and playing need the PortAudio library, which is not installed: "
            "install the package libportaudio2 (Debian, Ubuntu) or portaudio, then start again"
        ) from error


def answered(call: Callable[[], _T], what: str, limit_s: float = ANSWER_S) -> _T:
    """Run ``call`` in a daemon thread and give it ``limit_s``.

    Raises
    ------
    AudioError
        It did not come back; from now on :func:`portaudio` refuses, and leaving the program does not wait for it.
    Exception
        Whatever ``call`` raises.
    """
    result: list[_T] = []
    raised: list[BaseException] = []

    def run() -> None:
        try:
            with _calls:
                result.append(call())
        except BaseException as error:  # noqa: BLE001 - handed to the caller's thread below
            raised.append(error)

    thread = threading.Thread(target=run, name=f"portaudio {what}", daemon=True)
    thread.start()
    thread.join(limit_s)
    if thread.is_alive():
        _give_up()
        raise AudioError(f"the sound system does not answer ({what}); restart it or the machine, then start again")
    if raised:
        raise raised[0]
    return result[0]


def stream_opened() -> None:
    """Count one more open stream, from within a call that :func:`answered` runs."""
    _State.streams += 1


def close_stream(stream: Any) -> bool:
    """Abort and close ``stream``; False where the sound system did not let go in time.

    ``stop()`` waits for a suspended device for good, so it is never used.
    """

    def end() -> None:
        try:
            stream.abort()
        finally:
            stream.close()
            _State.streams -= 1

    import sounddevice

    try:
        answered(end, "stopping")
    except AudioError:
        return False
    except sounddevice.PortAudioError:
        return True  # the device had gone already; there is nothing left to stop
    return True


def reload_devices() -> bool:
    """Have PortAudio look for devices again (40 ms); False, and nothing done, while a stream is open."""
    sd = portaudio()

    def again() -> bool:
        if _State.streams:
            return False
        sd._terminate()
        sd._initialize()
        return True

    return answered(again, "looking for devices", START_S)


def _load() -> Any:
    import sounddevice  # starts PortAudio, which asks every device

    _State.loaded = True
    return sounddevice


def _give_up() -> None:
    _State.stuck = True
    # Its exit handler would terminate PortAudio and wait for the hung call for good. An import here could wait too.
    handler = getattr(sys.modules.get("sounddevice"), "_exit_handler", None)
    if handler is not None:
        atexit.unregister(handler)
