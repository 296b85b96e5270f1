"""Work in a daemon thread, awaited: a closed program never waits for a thread that hangs."""

import asyncio
import threading
from collections.abc import Callable
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


async def in_thread(work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
    """Result of ``work`` run in a daemon thread; what it raises is raised here."""
    loop = asyncio.get_running_loop()
    done: asyncio.Future[T] = loop.create_future()

    def settle(result: T | None, error: BaseException | None) -> None:
        # Whoever waited has left: a cancelled future takes no result.
        if done.cancelled():
            return
        if error is not None:
            done.set_exception(error)
        else:
            done.set_result(result)  # type: ignore[arg-type]

    def run() -> None:
        result, error = None, None
        try:
            result = work(*args, **kwargs)
        except BaseException as e:  # noqa: BLE001 - whatever it is, the awaiting side must hear of it
            error = e
        try:
            loop.call_soon_threadsafe(settle, result, error)
        except RuntimeError:  # the program was closed meanwhile: nobody waits any more
            pass

    # No pool of the standard library's: the interpreter waits for its threads as it ends, however long they hang.
    threading.Thread(target=run, name=getattr(work, "__name__", "work"), daemon=True).start()
    return await done
