"""One simulator that stays, and plays runs when the bench asks for them."""

from __future__ import annotations

import subprocess
import time
from contextlib import suppress
from dataclasses import replace
from multiprocessing.connection import Connection, Pipe
from pathlib import Path

from refmodel.ground.errors import CannotRun
from testbenches.job import BUILD_FAILED, TRIALS, Asked, RunDone
from testbenches.simulator import Session, said

BUILD_SECONDS = 600.0  # that no build takes
ENDING_SECONDS = 60.0  # that no simulator takes to end


class SilentError(CannotRun):
    """A simulator that was asked for runs and has not answered in time."""


class OnDemand:
    """A session that plays what it is asked for; a context, in which its simulator runs.

    The event files lie in the session's folder before they are asked for.
    """

    def __init__(self, session: Session) -> None:
        self._session = session
        self._bench: Connection | None = None
        self._job = replace(session.job(), test_module="testbenches.on_demand_tests")

    def __enter__(self) -> OnDemand:
        """Build the core and start the simulator; raise CannotRun when either fails."""
        self._bench, simulator = Pipe()
        try:
            with simulator:
                self._job.write([])
                descriptor = simulator.fileno()
                self._session.start(self._job, (descriptor,), {TRIALS: str(descriptor)})
            self._answer(BUILD_SECONDS)
        except BaseException:
            self.close()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        """End the simulator."""
        self.close()

    def close(self) -> None:
        """End the simulator, also while another thread waits for it."""
        self._session.stop()
        if self._bench is not None:
            self._bench.close()

    def finish(self) -> Path:
        """Let the simulator end by itself; return the file with what it has counted."""
        assert self._bench is not None, "used outside its context"
        self._job.coverage_file.unlink(missing_ok=True)
        with suppress(OSError):
            self._bench.send(None)
        with suppress(subprocess.TimeoutExpired):
            self._session.wait(ENDING_SECONDS)
        self.close()
        return self._job.coverage_file

    def play(self, asked: Asked, seconds: float) -> list[RunDone]:
        """Return what became of the runs that were played.

        Raises SilentError after so many seconds, CannotRun when the simulation ends.
        """
        assert self._bench is not None, "used outside its context"
        try:
            self._bench.send(asked)
        except OSError:
            raise self._ended() from None
        played: list[RunDone] = self._answer(seconds)
        return played

    def _answer(self, seconds: float) -> list[RunDone]:
        assert self._bench is not None, "used outside its context"
        end = time.monotonic() + seconds
        try:
            while not self._bench.poll(0.5):
                if time.monotonic() > end:
                    name = self._session.simulator
                    raise SilentError(f"{name}: the simulator says nothing for {seconds:.0f} s")
            answer: list[RunDone] = self._bench.recv()
        except (EOFError, OSError):
            raise self._ended() from None
        return answer

    def _ended(self) -> CannotRun:
        """Return the error of a simulator that has ended, or was never built."""
        failed = self._session.wait() == BUILD_FAILED
        why = "the core does not build" if failed else "the simulation ended by itself"
        return CannotRun(f"{self._session.simulator}: {why}:\n{said(self._job)}")
