"""Work spread over processes that end with the one that started them."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from typing import TypeVar, cast

from refmodel.ground.errors import CannotRun
from refmodel.ground.processors import processors
from refmodel.ground.signals import STOPS, held

T = TypeVar("T")
DROP = signal.SIGUSR1  # tells a worker to leave its call, and those that wait, undone
KILLED = (
    "a worker process was killed, so there is no verdict; the system does so when memory runs out: "
    "`taskset -c 0 cellstep ...` needs less"
)


class Dropped(Exception):
    """A call was left undone, since nobody waits for its result any more."""


def _nothing() -> None:
    """Do nothing."""


class Workers:
    """Processes that wait for calls, one a processor if no number is given; a context.

    A script that comes here needs the usual `if __name__ == "__main__"`: each process imports it
    again.
    """

    def __init__(self, workers: int | None = None) -> None:
        context = multiprocessing.get_context("spawn")  # a fork would copy a progress bar's thread
        self._pool = ProcessPoolExecutor(workers or processors(), context, _serve)

    def __enter__(self) -> Workers:
        return self

    def __exit__(self, *_: object) -> None:
        self._pool.shutdown(wait=True, cancel_futures=True)

    def all(self, calls: Sequence[Callable[[], T]], done: Callable[[], None] = _nothing) -> list[T]:
        """Return what each call returns, in order; `done` is called as each ends.

        A call and its result are pickled; what one raises is raised here. On an interrupt or an
        error the others are dropped, also those under way.
        """
        with self._dropping():
            futures = [self._submitted(call) for call in calls]
            _wait(futures, done)
            return [future.result() for future in futures]

    def submit(self, call: Callable[[], T]) -> Future[T]:
        """Have a worker make a call when one is free; `result` waits for what it returns."""
        with self._dropping():
            return self._submitted(call)

    def result(self, future: Future[T]) -> T:
        """Return what a call returns; raise what it raises. On that the others are dropped."""
        with self._dropping():
            return future.result()

    def drop(self) -> None:
        """Leave undone what is under way or waits, for good: nobody needs it any more."""
        for worker in multiprocessing.active_children():
            with suppress(ProcessLookupError):
                os.kill(cast(int, worker.pid), DROP)  # it has one: it was started
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _submitted(self, call: Callable[[], T]) -> Future[T]:
        with held(DROP):  # half-way through, the start of a process cannot be undone
            return self._pool.submit(_call, call)

    @contextmanager
    def _dropping(self) -> Iterator[None]:
        """Drop all calls on an interrupt or an error."""
        try:
            yield
        except BrokenProcessPool:
            raise CannotRun(KILLED) from None
        except BaseException:
            self.drop()
            raise


def run_all(
    calls: Sequence[Callable[[], T]],
    workers: int | None = None,
    done: Callable[[], None] = _nothing,
) -> list[T]:
    """Return what each call returns, in order, from workers that go when all is done."""
    with Workers(workers) as pool:
        return pool.all(calls, done)


def _wait(futures: Sequence[Future[T]], done: Callable[[], None]) -> None:
    """Wait for all; raise what one of them raised as soon as it did."""
    for future in as_completed(futures):
        future.result()
        done()


class _Worker:
    """What a worker process knows of itself."""

    busy = False
    dropping = False


def _serve() -> None:
    """Leave the stopping to the process that collects the results, and end when it ends."""
    for stop in STOPS:
        signal.signal(stop, signal.SIG_IGN)
    signal.signal(DROP, _drop)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, {*STOPS, DROP})  # held as it was started
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _call(call: Callable[[], T]) -> T:
    """Call it, unless all are to be dropped. The worker lives on: a pool waits for a dead one."""
    try:
        _Worker.busy = True
        if _Worker.dropping:
            raise Dropped
        return call()
    finally:
        _Worker.busy = False


def _drop(*_: object) -> None:
    _Worker.dropping = True
    if _Worker.busy:
        _Worker.busy = False
        raise Dropped


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)
