"""byte_ready of a whole span at once: clause B5."""

from __future__ import annotations

import numpy as np

from refmodel.ground.lane import Cycles, Lane


def ready_flag(byte_cycle: Cycles, clear_cycle: Cycles, initial: int, tie: str, first: int) -> Lane:
    """Return byte_ready set at `byte_cycle`, cleared at `clear_cycle`, starting from `initial`.

    `tie` is the policy ready_tie. A byte is there for a clear to take away when it completed on
    an earlier edge and no other cleared it since.
    """
    set_wins = tie == "set_wins"
    bytes_before = np.searchsorted(byte_cycle, clear_cycle, side="left")
    tied = np.append(byte_cycle, -1)[bytes_before] == clear_cycle  # no two bytes end on one edge
    # Between two clears the first byte sets the flag; one on the earlier clear's edge counts
    # only where it survives that clear.
    first_byte = np.concatenate(([0], bytes_before if set_wins else bytes_before + tied))
    limit = np.concatenate((bytes_before, [len(byte_cycle)]))
    sets = first_byte < limit
    up = sets[:-1].copy()  # as each clear finds the flag
    if initial:
        sets[0] = False
        up[:1] = True
    falls = clear_cycle[up & ~tied] if set_wins else clear_cycle[up]
    rises = byte_cycle[first_byte[sets]]
    cycle = np.concatenate(([first], rises, falls))
    value = np.concatenate(([initial], np.ones(len(rises)), np.zeros(len(falls))))
    order = np.argsort(cycle, kind="stable")
    return Lane.of(cycle[order], value[order])
