"""Who plays the batches of a hunt: this process, processes beside it, or other machines."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Future as LocalFuture
from functools import partial
from typing import TYPE_CHECKING, Protocol

from refmodel.ground.errors import UserError
from refmodel.ground.workers import Workers
from refmodel.hunt.aims import Aim
from refmodel.hunt.found import Batch
from testbenches.hunt.case_player import Quarry, close_players, play_batch

if TYPE_CHECKING:
    from distributed import Client, Future

CONNECT = 10.0  # seconds to wait for a scheduler
LOOK = 1.0  # seconds between two looks at whether it is still there
GONE = 5  # looks without a worker after which none is waited for
AHEAD = 2  # parts in flight for each worker, so that none waits for its next
Say = Callable[[str], None]
Played = Callable[[], Batch]  # waits for what became of a part


class Pool(Protocol):
    """Plays parts of a hunt; the result depends on them alone, not on who has played them."""

    @property
    def width(self) -> int:
        """How many parts are best under way at a time."""

    def submit(self, quarry: Quarry, seeds: range, aims: Sequence[Aim]) -> Played:
        """Have some seeds played; return what waits for the result."""

    def drop(self) -> None:
        """Leave undone what is still under way: the hunt is over."""


class Alone:
    """The process that hunts."""

    width = 1

    def submit(self, quarry: Quarry, seeds: range, aims: Sequence[Aim]) -> Played:
        """Play when the result is asked for."""
        return partial(play_batch, quarry, seeds, aims)

    def drop(self) -> None:
        """Nothing is ever under way."""


class Local:
    """Processes on this machine; a context."""

    def __init__(self, workers: int) -> None:
        self._workers = Workers(workers)
        self.width = AHEAD * workers
        self._under_way: set[LocalFuture[Batch]] = set()

    def __enter__(self) -> Local:
        self._workers.__enter__()
        return self

    def __exit__(self, *given: object) -> None:
        if all(future.done() for future in self._under_way):
            self._workers.__exit__(*given)
        else:
            self._workers.drop()

    def submit(self, quarry: Quarry, seeds: range, aims: Sequence[Aim]) -> Played:
        """Have a process play."""
        future = self._workers.submit(partial(play_batch, quarry, seeds, aims))
        self._under_way.add(future)

        def played() -> Batch:
            self._under_way.discard(future)
            return self._workers.result(future)

        return played

    def drop(self) -> None:
        """Take back what no process has begun."""
        for future in self._under_way:
            future.cancel()


class Scheduled:
    """Workers of a dask scheduler, which see the core's files at the same path; a context.

    When the scheduler or its workers go away, what is left is played here. Raises UserError when
    there is no scheduler to begin with, or the package is missing.
    """

    def __init__(self, address: str, say: Say) -> None:
        try:
            from distributed import Client
        except ImportError:
            raise UserError(
                "--scheduler takes the Python package distributed: pip install 'cellstep[cluster]'"
            ) from None
        self._say = say
        try:
            self._client: Client | None = Client(
                address, timeout=CONNECT, set_as_default=False, connection_limit=32
            )
        except (OSError, TimeoutError, ValueError) as error:
            raise UserError(f"--scheduler {address}: no scheduler answers: {error}") from None
        try:
            self._client.wait_for_workers(1, timeout=CONNECT)
        except TimeoutError:
            self._client.close()
            raise UserError(f"--scheduler {address}: has no worker") from None
        self._under_way: set[Future] = set()

    def __enter__(self) -> Scheduled:
        return self

    def __exit__(self, *_: object) -> None:
        if self._client is not None:
            try:
                self._client.run(close_players)
            finally:
                self._client.close()
        close_players()

    @property
    def width(self) -> int:
        """Parts for every thread there is just now."""
        if self._client is None:
            return 1
        workers = self._client.scheduler_info(n_workers=-1)["workers"].values()
        return AHEAD * max(1, sum(int(worker["nthreads"]) for worker in workers))

    def submit(self, quarry: Quarry, seeds: range, aims: Sequence[Aim]) -> Played:
        """Have a worker play; if its result does not come back, play here."""
        if self._client is None:
            return partial(play_batch, quarry, seeds, aims)
        future = self._client.submit(play_batch, quarry, seeds, aims, pure=False)
        self._under_way.add(future)

        def played() -> Batch:
            batch = self._result(future)
            self._under_way.discard(future)
            return play_batch(quarry, seeds, aims) if batch is None else batch

        return played

    def drop(self) -> None:
        """Take back what no worker has begun."""
        if self._client is not None and self._under_way:
            self._client.cancel(list(self._under_way))
        self._under_way.clear()

    def _result(self, future: Future) -> Batch | None:
        """Return what a worker has played; None when it is lost with its scheduler."""
        from distributed import CancelledError, KilledWorker
        from distributed.comm import CommClosedError

        alone = 0  # looks since there was a worker
        while self._client is not None:
            try:
                batch: Batch = future.result(timeout=LOOK)
                return batch
            except TimeoutError:
                running = self._client.status == "running"
                there = running and self._client.scheduler_info()["workers"]
                alone = 0 if there else alone + 1
                if alone == GONE:
                    self._leave("its workers are gone")
            except (CancelledError, CommClosedError, KilledWorker, OSError) as error:
                self._leave(str(error) or type(error).__name__)
        return None

    def _leave(self, why: str) -> None:
        """Go on without the scheduler."""
        self._say(f"the scheduler is lost ({why}): what is left is played here")
        client, self._client = self._client, None
        self._under_way.clear()
        if client is not None:
            client.close(timeout=LOOK)
