"""What the words of a whole span tell of how memory is bound."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from refmodel.engine.compare import MEMORY, Mismatch
from refmodel.engine.finding import Shown

ENOUGH = 2  # words that say the same
MANY = 8


def memory_symptoms(mismatch: Mismatch, shown: Shown) -> Iterator[str]:
    """Yield which level of memory's lines the other way round would explain the words moved."""
    core, model = shown.moves, shown.expected.moves
    if mismatch.field != MEMORY or core is None or not len(core):
        return
    both = np.intersect1d(core.cycle, model.cycle)
    if not len(both) and len(core) >= MANY:
        yield (
            f"{len(core)} words move in slots in which the model asks for none, and none in its"
            " own: is the level of memory.request right?"
        )
    mine, theirs = core.store[np.isin(core.cycle, both)], model.store[np.isin(model.cycle, both)]
    if len(both) >= ENOUGH and (mine != theirs).all():
        yield (
            f"{len(both)} words move in the model's slots, each in the wrong direction: is the"
            " level of memory.store right?"
        )
