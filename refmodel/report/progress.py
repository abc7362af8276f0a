"""A status line on a terminal: what the model and each simulator are doing now."""

from __future__ import annotations

from types import TracebackType

from rich.console import Console
from rich.markup import escape

from refmodel.ground.text import printable


class Progress:
    """Shows the last word of each speaker (`icarus: comparing ...`); silent off a terminal."""

    def __init__(self, console: Console) -> None:
        self._said: dict[str, str] = {}
        self._status = console.status("") if console.is_terminal else None

    def say(self, message: str) -> None:
        """Take `speaker: what it does`; any thread may call this."""
        speaker, _, doing = escape(printable(message)).partition(": ")
        self._said = {**self._said, speaker: doing}
        if self._status is not None:
            self._status.update(", ".join(f"{who}: {what}" for who, what in self._said.items()))

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
