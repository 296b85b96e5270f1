"""Work in a daemon thread, awaited: a closed program never waits for a thread that hangs."""

import asyncio
import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


async def in_thread(work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
    """Result of ``work`` run in a daemon thread; what it raises is raised here."""
    done = Future[T]()
    # Under way from now on: whoever waits for it may leave, the work is done all the same.
    done.set_running_or_notify_cancel()

    def run() -> None:
        try:
            done.set_result(work(*args, **kwargs))
        except BaseException as e:  # noqa: BLE001 - whatever it is, the awaiting side must hear of it
            done.set_exception(e)

    # No pool of the standard library's: the interpreter waits for its threads as it ends, however long they hang.
    threading.Thread(target=run, name=getattr(work, "__name__", "work"), daemon=True).start()
    return await asyncio.wrap_future(done)
