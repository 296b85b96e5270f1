"""PortAudio as a guest that may be missing or stop answering: one thread talks to it, and nobody waits for ever."""

import atexit
import queue
import sys
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future, wait
from typing import Any, TypeVar

from listen.errors import AudioError, NoPortAudio

START_S = 5.0
"""Longest wait for PortAudio to start and ask every device what it can."""
ANSWER_S = 1.5
"""Longest wait for any other call; a healthy sound system opens or stops a stream within 0.1 s."""
_LOOK_S = 0.05
"""Between two looks at whether a call's turn has come."""
NO_ANSWER = "the sound system no longer answers; what was recorded is kept, close Hissway and start it again"

_T = TypeVar("_T")


class _PortAudioThread:
    """The one thread that calls PortAudio (its calls may not overlap), and what this process knows of it."""

    def __init__(self) -> None:
        self.loaded = False
        self.stuck = False
        self.streams: list[Any] = []
        self.turn_at = 0.0
        """When the call that runs now was begun, by ``time.monotonic()``."""
        self._calls: queue.SimpleQueue[tuple[Future[Any], Callable[[], Any]]] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        self._lock = threading.Lock()

    def hand_in(self, work: Callable[[], _T]) -> Future[_T]:
        """Queue a call, starting the thread with the first."""
        # Two threads may hand in the first call together.
        with self._lock:
            if self._thread is None:
                # No pool of the standard library's: leaving the program would wait for a call that hangs.
                self._thread = threading.Thread(target=self._serve, name="portaudio", daemon=True)
                self._thread.start()
        call: Future[_T] = Future()
        self._calls.put((call, work))
        return call

    def _serve(self) -> None:
        while True:
            call, work = self._calls.get()
            self.turn_at = time.monotonic()
            # Marked as running, so that whoever waits counts its time from here and not from when it was handed in.
            call.set_running_or_notify_cancel()
            try:
                call.set_result(work())
            except BaseException as error:  # noqa: BLE001 - handed to the waiting thread, which raises it
                call.set_exception(error)


_portaudio_thread = _PortAudioThread()


def portaudio() -> Any:
    """The ``sounddevice`` module.

    Raises NoPortAudio: the PortAudio library is not installed, or cannot be loaded. AudioError: PortAudio does not
    start, or a call into it never came back; no new stream can be had in this process."""
    if _portaudio_thread.loaded and not _portaudio_thread.stuck:
        return sys.modules["sounddevice"]
    try:
        return call_portaudio(_load, "starting", START_S)
    except (OSError, ImportError) as error:
        if "PortAudio library not found" in str(error):  # sounddevice's own words
            raise NoPortAudio(
                "recording and playing need the PortAudio library, which is not installed: "
                "install the package libportaudio2 (Debian, Ubuntu) or portaudio, then start again"
            ) from error
        raise _unusable(error) from error
    except AudioError:
        raise
    except Exception as error:  # PortAudio's own, which has no class before its module is there
        raise _failed("cannot be started", error) from error


def reason(error: BaseException) -> str:
    return str(error.args[0]) if error.args else type(error).__name__


def _unusable(error: Exception) -> NoPortAudio:
    return NoPortAudio(
        f"the PortAudio library is there but cannot be used ({reason(error)}); "
        "install the package libportaudio2 (Debian, Ubuntu) or portaudio anew, then start again"
    )


def _failed(how: str, error: Exception) -> AudioError:
    return AudioError(
        f"the sound system {how} ({reason(error)}); close other sound programs or restart the machine, then try again"
    )


def call_portaudio(work: Callable[[], _T], what: str, limit_s: float = ANSWER_S) -> _T:
    """Run ``work`` in the thread that talks to PortAudio and give it ``limit_s`` from when its turn comes.

    Raises AudioError: it did not come back; from now on all calls are refused, and leaving the program does not wait
    for it. NoPortAudio: the library lacks a function that was called: an old one, or another under its name.
    Exception: whatever else ``work`` raises."""
    call = _portaudio_thread.hand_in(work)
    while not wait([call], _LOOK_S).done:
        if not call.running():
            if _portaudio_thread.stuck:
                raise AudioError(NO_ANSWER)
        elif time.monotonic() - _portaudio_thread.turn_at > limit_s:
            _give_up()
            raise AudioError(f"the sound system does not answer ({what}); restart it or the machine, then start again")
    try:
        return call.result()
    except Exception as error:
        if "symbol" in str(error):  # the loader's word; the class is one that the binding makes as it is loaded
            raise _unusable(error) from error
        raise


def start_stream(stream: Any) -> None:
    """Start a stream and remember it, from within a call that :func:`call_portaudio` runs; one that fails is closed."""
    import sounddevice

    try:
        stream.start()
    except sounddevice.PortAudioError:
        stream.close()
        raise
    _portaudio_thread.streams.append(stream)


def close_stream(stream: Any) -> bool:
    """Abort and close ``stream``; False where the sound system did not let go in time."""
    try:
        call_portaudio(lambda: _end(stream), "stopping")
    except AudioError:
        return False
    return True


def device_tables() -> tuple[Any, Any, Any]:
    """PortAudio's devices, sound systems and default devices (``AudioError`` where it does not tell)."""
    sd = portaudio()
    try:
        return call_portaudio(
            lambda: (sd.query_devices(), sd.query_hostapis(), sd.default.device), "listing devices", START_S
        )
    except sd.PortAudioError as error:
        raise _failed("cannot list its devices", error) from error


def reload_devices() -> bool:
    """Have PortAudio look for devices again (40 ms); False, and nothing done, while a stream is open."""
    sd = portaudio()

    def again() -> bool:
        if _portaudio_thread.streams:
            return False
        try:
            if sd._initialized:  # else it could not be started again the last time
                sd._terminate()
            sd._initialize()
        except sd.PortAudioError as error:
            raise _failed("cannot be started", error) from error
        return True

    return call_portaudio(again, "looking for devices", START_S)


def _load() -> Any:
    import sounddevice  # starts PortAudio, which asks every device

    if not _portaudio_thread.loaded:
        atexit.register(_leave)  # after sounddevice's own handler, and so run before it
        _portaudio_thread.loaded = True
    return sounddevice


def _end(stream: Any) -> None:
    import sounddevice

    if stream not in _portaudio_thread.streams:
        return
    _portaudio_thread.streams.remove(stream)
    try:
        try:
            stream.abort()  # stop() waits for a suspended device for good
        finally:
            stream.close()
    except sounddevice.PortAudioError:
        pass  # the device had gone already: there is nothing left to stop


def _end_all() -> None:
    for stream in list(_portaudio_thread.streams):
        _end(stream)


def _give_up() -> None:
    import ctypes

    _portaudio_thread.stuck = True
    module = sys.modules.get("sounddevice")  # an import here could wait too
    # sounddevice's exit handler would wait for the hung call for good.
    handler = getattr(module, "_exit_handler", None)
    if handler is not None:
        atexit.unregister(handler)
    # Python unloads libraries as it ends: the hung call would return into nothing, and the process end by a signal.
    ctypes.pythonapi.Py_IncRef(ctypes.py_object(getattr(module, "_lib", None)))


def _leave() -> None:
    """At exit: end what is still open before PortAudio is shut down, or leave it to the system if it hangs."""
    try:
        call_portaudio(_end_all, "leaving")
    except AudioError:
        pass  # _give_up has seen to it that nothing waits
