"""What a coroutine returns, to a caller that waits for it."""

import asyncio
from collections.abc import Coroutine
from threading import Thread
from typing import Any


def outcome(running: Coroutine[Any, Any, Any], within_s: float | None = None) -> Any:
    """By an event loop of its own in a thread of its own: the caller's thread may be running one
    already, and a name that is looked up in vain holds a loop longer than any limit set inside it.

    Raises:
        TimeoutError: it did not end within the seconds; its thread is left to end by itself.
    """
    done: list[tuple[Any, BaseException | None]] = []

    def run() -> None:
        try:
            done.append((asyncio.run(running), None))
        except BaseException as error:
            done.append((None, error))

    thread = Thread(target=run, daemon=True)
    thread.start()
    thread.join(within_s)
    if not done:
        raise TimeoutError
    result, error = done[0]
    if error is not None:
        raise error
    return result
