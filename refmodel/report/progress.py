"""How far a command is: a status line on a terminal, elsewhere a line now and then."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from math import inf
from threading import Lock
from types import TracebackType

from rich.console import Console
from rich.markup import escape

from refmodel.ground.text import printable

PAUSE = 10.0  # seconds from one line to the next, where there is no terminal


class Progress:
    """Shows the last word of each speaker (`icarus: comparing ...`).

    On a terminal it is one line that changes. Into a file or a pipe a line is written when one is
    due: the first after ten seconds, so that what is done sooner stays silent; none at all with
    CELLSTEP_PROGRESS=0 in the environment.
    """

    def __init__(self, console: Console, now: Callable[[], float] = time.monotonic) -> None:
        self._said: dict[str, str] = {}
        self._console = console
        self._status = console.status("") if console.is_terminal else None
        self._now = now
        silent = os.environ.get("CELLSTEP_PROGRESS") == "0"
        self._due = inf if silent else now() + PAUSE
        self._lock = Lock()

    def say(self, message: str) -> None:
        """Take `speaker: what it does`; any thread may call this."""
        speaker, _, doing = printable(message).partition(": ")
        self._said = {**self._said, speaker: doing}
        if self._status is not None:
            self._status.update(escape(self._line()))
            return
        with self._lock:
            if self._now() >= self._due:
                self._due = self._now() + PAUSE
                self._console.print(self._line(), soft_wrap=True, markup=False, highlight=False)

    def _line(self) -> str:
        return ", ".join(f"{who}: {what}" for who, what in self._said.items())

    def __enter__(self) -> Progress:
        """Show the line."""
        if self._status is not None:
            self._status.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Take the line away."""
        if self._status is not None:
            self._status.stop()
