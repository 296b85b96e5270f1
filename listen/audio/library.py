"""PortAudio as a guest that may be missing or stop answering: one thread talks to it, and nobody waits for ever."""

import atexit
import queue
import sys
import threading
from collections.abc import Callable
from typing import Any, Generic, TypeVar

from listen.errors import AudioError, NoPortAudio

START_S = 5.0
"""Longest wait for PortAudio to start and ask every device what it can."""
ANSWER_S = 1.5
"""Longest wait for any other call; a healthy sound system opens or stops a stream within 0.1 s."""

_T = TypeVar("_T")


class _Call(Generic[_T]):
    """One call on its way through the thread that talks to PortAudio."""

    def __init__(self, work: Callable[[], _T]) -> None:
        self.begun = threading.Event()
        self.ended = threading.Event()
        self.value: _T
        self.error: BaseException | None = None
        self._work = work

    def run(self) -> None:
        self.begun.set()
        try:
            self.value = self._work()
        except BaseException as error:  # noqa: BLE001 - handed to the waiting thread, which raises it
            self.error = error
        self.ended.set()


class _PortAudioThread:
    """The one thread that calls PortAudio (its calls may not overlap), and what this process knows of it."""

    def __init__(self) -> None:
        self.loaded = False
        self.stuck = False
        self.streams: list[Any] = []
        self._calls: queue.SimpleQueue[_Call[Any]] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None
        self._lock = threading.Lock()

    def hand_in(self, call: _Call[Any]) -> None:
        """Queue a call, starting the thread with the first."""
        with self._lock:
            if self._thread is None:
                self._thread = threading.Thread(target=self._serve, name="portaudio", daemon=True)
                self._thread.start()
        self._calls.put(call)

    def _serve(self) -> None:
        while True:
            self._calls.get().run()


_portaudio_thread = _PortAudioThread()


def portaudio() -> Any:
    """The ``sounddevice`` module.

    Raises
    ------
    NoPortAudio
        The PortAudio library is not installed.
    AudioError
        PortAudio does not start, or a call into it never came back; no new stream can be had in this process.
    """
    try:
        return (
            sys.modules["sounddevice"]
            if _portaudio_thread.loaded and not _portaudio_thread.stuck
            else call_portaudio(_load, "starting", START_S)
        )
    except OSError as error:
        raise NoPortAudio(
            "recording and playing need the PortAudio library, which is not installed: "
            "install the package libportaudio2 (Debian, Ubuntu) or portaudio, then start again"
        ) from error
    except AudioError:
        raise
    except Exception as error:  # PortAudio's own, which has no class before its module is there
        raise _does_not_start(error) from error


def _does_not_start(error: Exception) -> AudioError:
    why = error.args[0] if error.args else type(error).__name__
    return AudioError(
        f"the sound system cannot be started ({why}); close other sound programs or restart the machine, then try again"
    )


def call_portaudio(work: Callable[[], _T], what: str, limit_s: float = ANSWER_S) -> _T:
    """Run ``work`` in the thread that talks to PortAudio and give it ``limit_s`` from when its turn comes.

    Raises
    ------
    AudioError
        It did not come back; from now on all calls are refused, and leaving the program does not wait for it.
    Exception
        Whatever ``work`` raises.
    """
    call = _Call(work)
    _portaudio_thread.hand_in(call)
    while not call.begun.wait(0.05):
        _refuse_if_stuck()
    if not call.ended.wait(limit_s):
        _give_up()
        raise AudioError(f"the sound system does not answer ({what}); restart it or the machine, then start again")
    if call.error is not None:
        raise call.error
    return call.value


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


def reload_devices() -> bool:
    """Have PortAudio look for devices again (40 ms); False, and nothing done, while a stream is open."""
    sd = portaudio()

    def again() -> bool:
        if _portaudio_thread.streams:
            return False
        sd._terminate()
        try:
            sd._initialize()
        except sd.PortAudioError as error:
            raise _does_not_start(error) from error
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


def _refuse_if_stuck() -> None:
    if _portaudio_thread.stuck:
        raise AudioError(
            "the sound system no longer answers; what was recorded is kept, close Hissway and start it again"
        )


def _give_up() -> None:
    _portaudio_thread.stuck = True
    # sounddevice's exit handler would wait for the hung call for good. An import here could wait too.
    handler = getattr(sys.modules.get("sounddevice"), "_exit_handler", None)
    if handler is not None:
        atexit.unregister(handler)


def _leave() -> None:
    """At exit: end what is still open before PortAudio is shut down, or leave it to the system if it hangs."""
    try:
        call_portaudio(_end_all, "leaving")
    except AudioError:
        pass  # _give_up has seen to it that nothing waits
