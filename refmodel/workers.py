"""Work spread over processes that end with the one that started them."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from contextlib import contextmanager
from typing import TypeVar

from refmodel.processors import processors

T = TypeVar("T")
STOPS = (signal.SIGINT, signal.SIGTERM)


def run_all(
    calls: Sequence[Callable[[], T]],
    workers: int | None = None,
    done: Callable[[], None] = lambda: None,
) -> list[T]:
    """Return what each call returns, in order. They run in `workers` processes, one a processor.

    A call and its result are pickled; what one raises is raised here. `done` is called as each
    ends. On an interrupt the calls not yet begun are dropped and those under way waited for.
    """
    context = multiprocessing.get_context("spawn")  # a fork would copy a progress bar's thread
    with ProcessPoolExecutor(workers or processors(), context, _serve) as pool:
        try:
            with _held():
                futures = [pool.submit(call) for call in calls]
            _wait(futures, done)
        except BaseException:
            pool.shutdown(wait=True, cancel_futures=True)
            raise
    return [future.result() for future in futures]


def _wait(futures: Sequence[Future[T]], done: Callable[[], None]) -> None:
    """Wait for all; raise what one of them raised as soon as it did."""
    for future in as_completed(futures):
        future.result()
        done()


@contextmanager
def _held() -> Iterator[None]:
    """Let a signal wait: half-way through, the start of a process cannot be undone.

    The processes begin with the signals blocked. Another thread may still take one for this
    process, so that its handler waits, too.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    came: list[int] = []
    handlers = {stop: signal.signal(stop, lambda stop, _: came.append(stop)) for stop in STOPS}
    mask = signal.pthread_sigmask(signal.SIG_BLOCK, STOPS)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        for stop, handler in handlers.items():
            signal.signal(stop, handler)
    for number in came[:1]:
        signal.raise_signal(number)


def _serve() -> None:
    """Leave Ctrl-C to the process that collects the results, and end when it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, STOPS)  # held as it was started
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
