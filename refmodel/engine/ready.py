"""byte_ready of a whole span at once: clause B5."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.lane import Cycles, Lane


@dataclass(frozen=True)
class Ready:
    """The flag's lane, what each read of status sees of it, and the flag after the span."""

    lane: Lane
    at_read: NDArray[np.uint32]
    after: int


def ready_flag(byte_cycle: Cycles, read_cycle: Cycles, initial: int, tie: str, first: int) -> Ready:
    """Return byte_ready set at `byte_cycle`, cleared at `read_cycle`, starting from `initial`.

    `tie` is the policy ready_tie. A byte counts for a read when it completed on an earlier edge
    and no read cleared it since.
    """
    set_wins = tie == "set_wins"
    bytes_before = np.searchsorted(byte_cycle, read_cycle, side="left")
    tied = np.searchsorted(byte_cycle, read_cycle, side="right") > bytes_before
    # Between two reads the first byte sets the flag; one on the earlier read's edge counts
    # only where it survives that read.
    first_byte = np.concatenate(([0], bytes_before if set_wins else bytes_before + tied))
    limit = np.concatenate((bytes_before, [len(byte_cycle)]))
    sets = first_byte < limit
    at_read = sets[:-1].copy()
    if initial:
        sets[0] = False
        at_read[:1] = True
    falls = read_cycle[at_read & ~tied] if set_wins else read_cycle[at_read]
    rises = byte_cycle[first_byte[sets]]
    cycle = np.concatenate(([first], rises, falls))
    value = np.concatenate(([initial], np.ones(len(rises)), np.zeros(len(falls))))
    order = np.argsort(cycle, kind="stable")
    lane = Lane.of(cycle[order], value[order])
    return Ready(lane, at_read.astype(np.uint32), int(lane.value[-1]))
