"""The spans of a run, kept in a file: however many there are, memory holds a few."""

from __future__ import annotations

import pickle
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import overload

from refmodel.ground.stimulus import Stimulus

AT_HAND = 8  # spans that stay in memory: few runs have more


class KeptSpans(Sequence[Stimulus]):
    """Takes spans in order and gives them back, any number of times. Can be sent to a process.

    Its file is made when the first that do not stay in memory come; it lies in the run's work
    folder, and goes with that.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._at_hand: list[Stimulus] = []
        self._places: list[int] = []  # of the others in the file

    def append(self, span: Stimulus) -> None:
        """Take the next span; raises OSError with the file's path when it cannot be written."""
        if len(self._at_hand) < AT_HAND:
            self._at_hand.append(span)
            return
        try:
            with self._path.open("ab" if self._places else "wb") as file:
                self._places.append(file.tell())
                pickle.dump(span, file, pickle.HIGHEST_PROTOCOL)
        except OSError as error:
            raise OSError(error.errno, error.strerror, str(self._path)) from error

    def __len__(self) -> int:
        return len(self._at_hand) + len(self._places)

    @overload
    def __getitem__(self, n: int) -> Stimulus: ...

    @overload
    def __getitem__(self, n: slice) -> Sequence[Stimulus]: ...

    def __getitem__(self, n: int | slice) -> Stimulus | Sequence[Stimulus]:
        """Return a span, or some of them as a list."""
        if isinstance(n, slice):
            return [self[at] for at in range(*n.indices(len(self)))]
        at = range(len(self))[n]  # as a list: from the end, or IndexError
        if at < len(self._at_hand):
            return self._at_hand[at]
        with self._path.open("rb") as file:
            file.seek(self._places[at - len(self._at_hand)])
            span: Stimulus = pickle.load(file)
            return span

    def __iter__(self) -> Iterator[Stimulus]:
        """Yield the spans; few are held."""
        return (self[n] for n in range(len(self)))
