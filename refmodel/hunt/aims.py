"""What a case aims at: two happenings that never met at some distance, placed to meet there."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.lane import Cycles
from refmodel.hunt.case import RESET, SLOT

PLACED: Mapping[str, str] = {  # what is drawn for a happening; the rest comes with channel bits
    "read": "status",
    "write_sync_word": "sync_word",
    "write_transfer": "transfer",
    "write_control": "control",
    "slot": SLOT,
    "move": SLOT,
    "last_word": SLOT,
    "gate": "gate",
    "level": "level_input",
    "reset": RESET,
}
EACH = {"byte": 8, "word": 16}  # channel bits from one to the next, as long as nothing begins anew
OFTEN, ELSEWHERE = 0.3, 0.03  # of the bits with which it comes by this count, and of the others
SELDOM = {RESET: 0.1, "gate": 0.3, "transfer": 0.2}  # they end what the other waits for
LONG = frozenset({"word", "slot", "move", "last_word"})  # they take a transfer that is left alone


class Aim(NamedTuple):
    """The second is to happen so many edges behind the first."""

    first: str
    second: str
    distance: int


class Aimed(NamedTuple):
    """One case's aim, if it has one."""

    aim: Aim | None = None

    @classmethod
    def drawn(cls, aims: Sequence[Aim], rng: np.random.Generator) -> Aimed:
        """Return the aim of a case: every second one has none."""
        return cls(aims[int(rng.integers(len(aims)))] if aims and rng.random() < 0.5 else None)

    @property
    def is_long(self) -> bool:
        """Whether a transfer must be left alone for it."""
        return self.aim is not None and bool(LONG.intersection(self.aim[:2]))

    def events(
        self,
        at: Cycles,
        window: NDArray[np.int64],
        word: int,
        rng: np.random.Generator,
    ) -> Iterator[tuple[str, Cycles, NDArray[np.int64]]]:
        """Yield the kinds of events to place, at which edges, and the window at each.

        `at` are the edges of the channel bits, `window` the bits up to each, `word` is the one
        that comes often.
        """
        if self.aim is None:
            return
        first, second, distance = self.aim
        share = np.full(len(at), ELSEWHERE if {first, second} - {*PLACED, "bit"} else OFTEN)
        number = np.arange(len(at))
        for name in {first, second} & {*EACH, "match"}:
            comes = window == word if name == "match" else number % EACH[name] == EACH[name] - 1
            share[comes] = OFTEN
        kinds = PLACED.get(first), PLACED.get(second)
        for kind in kinds:
            share *= SELDOM.get(kind or "", 1.0)
        chosen = np.flatnonzero(rng.random(len(at)) < share)
        edges = at[chosen]
        if None not in kinds:
            edges = edges + rng.integers(-3, 4, len(edges))
        if kinds[0]:
            yield kinds[0], edges - (0 if kinds[1] else distance), window[chosen]
        if kinds[1]:
            yield kinds[1], edges + distance, window[chosen]
