"""The control register of a whole span at once: clause B13."""

from __future__ import annotations

import numpy as np

from refmodel.block.control import KEPT, next_control
from refmodel.ground.bus import WRITE_CONTROL
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus


def control_lane(stimulus: Stimulus, control: int, there: int = KEPT) -> Lane:
    """Return what control holds through the span, from each write's own edge on.

    `there` are the bits that a write reaches.
    """
    cycles, values = [stimulus.first], [control]
    for cycle, _, value in stimulus.writes(WRITE_CONTROL):
        control = next_control(control, value, there)
        cycles.append(cycle)
        values.append(control)
    return Lane.of(np.array(cycles, np.int64), np.array(values))


def bit_of(control: Lane, mask: int) -> Lane:
    """Return one bit of control as a level."""
    if len(control.cycle) == 1:
        return Lane.constant(int(control.value[0] & mask != 0), int(control.cycle[0]))
    return Lane.of(control.cycle, control.value & np.uint32(mask) != 0)
