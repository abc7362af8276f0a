"""Who plays the batches of a hunt: this process, processes beside it, or other machines."""

from __future__ import annotations

from collections.abc import Callable, Sequence
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
Say = Callable[[str], None]


class Pool(Protocol):
    """Plays batches; the result depends on the seeds alone, not on who has played them."""

    def play(self, quarry: Quarry, parts: Sequence[range], aims: Sequence[Aim] = ()) -> list[Batch]:
        """Return what became of each range of seeds, in order."""


class Alone:
    """The process that hunts."""

    def play(self, quarry: Quarry, parts: Sequence[range], aims: Sequence[Aim] = ()) -> list[Batch]:
        """Play one range after the other."""
        return [play_batch(quarry, seeds, aims) for seeds in parts]


class Local:
    """Processes on this machine; a context."""

    def __init__(self, workers: int) -> None:
        self._workers = Workers(workers)

    def __enter__(self) -> Local:
        self._workers.__enter__()
        return self

    def __exit__(self, *given: object) -> None:
        self._workers.__exit__(*given)

    def play(self, quarry: Quarry, parts: Sequence[range], aims: Sequence[Aim] = ()) -> list[Batch]:
        """Play ranges side by side."""
        return self._workers.all([partial(play_batch, quarry, seeds, aims) for seeds in parts])


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

    def __enter__(self) -> Scheduled:
        return self

    def __exit__(self, *_: object) -> None:
        if self._client is not None:
            try:
                self._client.run(close_players)
            finally:
                self._client.close()
        close_players()

    def play(self, quarry: Quarry, parts: Sequence[range], aims: Sequence[Aim] = ()) -> list[Batch]:
        """Play ranges on the workers; those that do not come back, here."""
        found: dict[int, Batch] = {}
        if self._client is not None:
            futures = [
                self._client.submit(play_batch, quarry, seeds, aims, pure=False) for seeds in parts
            ]
            for n, future in enumerate(futures):
                batch = self._result(future)
                if batch is not None:
                    found[n] = batch
        return [
            found[n] if n in found else play_batch(quarry, seeds, aims)
            for n, seeds in enumerate(parts)
        ]

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
        if client is not None:
            client.close(timeout=LOOK)
