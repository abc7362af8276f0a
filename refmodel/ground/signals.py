"""The signals that stop a command, and how they wait where a stop half-way would do harm."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

STOPS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT)


@contextmanager
def held(*others: signal.Signals) -> Iterator[None]:
    """Let the stops, and `others`, wait until the end; a process started meanwhile holds them, too.

    Another thread may still take a stop for this process, so that its handler waits as well.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    handlers = {stop: signal.signal(stop, lambda stop, _: came.append(stop)) for stop in STOPS}
    mask = signal.pthread_sigmask(signal.SIG_BLOCK, {*STOPS, *others})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        for stop, handler in handlers.items():
            signal.signal(stop, handler)
    for number in came[:1]:
        signal.raise_signal(number)
