"""What pulses and levels of a whole span tell by their lengths, and by when they come."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from refmodel.block.control import PRECOMPENSATION
from refmodel.block.precompensation import amount
from refmodel.engine.compare import Mismatch
from refmodel.engine.control import control_lane
from refmodel.engine.finding import Shown
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.numbers import counted
from refmodel.profile import Profile

ENOUGH = 3  # pulses that say the same
AHEAD = 2  # channel bits that the serialiser looks ahead (B11)


def timed_symptoms(mismatch: Mismatch, profile: Profile, shown: Shown) -> Iterator[str]:
    """Yield what the mismatching line does each time it changes, in sentences."""
    if held := held_for(mismatch, shown):
        yield (
            f"sync_equal stays up for {counted(held, 'cycle')} each time in the core, as if a timer"
            " held it; in the model it falls with the next channel bit (B3)"
        )
    early = comes_early(mismatch, shown)
    if early and early == AHEAD * profile.cycles_per_written_bit:
        yield (
            f"{mismatch.field} comes {early} cycles early each time, {AHEAD} written bits: the"
            f" model looks {AHEAD} bits ahead for precompensation (B11), and no policy leaves"
            " that out"
        )
    elif early:
        yield f"{mismatch.field} comes {early} cycle{'s' * (early > 1)} early each time in the core"
    if said := precompensated(mismatch, profile, shown):
        yield said


def precompensated(mismatch: Mismatch, profile: Profile, shown: Shown) -> str:
    """Say how the core's written pulses differ if it precompensates in another way (B11)."""
    core = shown.observed.lanes.get(mismatch.field)
    if mismatch.field != "write_data" or core is None:
        return ""
    mine, theirs = _pulses(core, shown)[0], _pulses(shown.expected.lines["write_data"], shown)[0]
    apart = int(profile.cycles_per_written_bit) // 2
    shift, until = _shift(mismatch, profile, shown)
    theirs = theirs + mismatch.lag
    mine = mine[(mine >= mismatch.cycle - apart) & (mine < until)]
    at = np.searchsorted(theirs, mine - apart)
    paired = at < len(theirs)
    off = mine[paired] - theirs[at[paired]]
    off = off[np.abs(off) < apart]
    sizes = np.unique(np.abs(off[off != 0]))
    if len(sizes) != 1 or not shift or not ((off > 0).any() and (off < 0).any()):
        return ""
    cycles = counted(shift, "cycle")
    said = {
        shift: f"the core writes without precompensation, which shifts the model's by {cycles}",
        2 * shift: (
            f"pulses that the model writes {cycles} early come {cycles} late in the core, and the"
            " other way round: its precompensation has the wrong sign"
        ),
    }.get(int(sizes[0]), "")
    return said and f"{said} (B11)"


def _shift(mismatch: Mismatch, profile: Profile, shown: Shown) -> tuple[int, int]:
    """Return the shift of precompensation at a mismatch, and the cycle up to which it is that."""
    stimulus = shown.stimulus
    control = control_lane(stimulus, shown.state.control, profile.control_there)
    select = Lane.of(control.cycle, control.value & np.uint32(PRECOMPENSATION.mask))
    at = mismatch.cycle - mismatch.lag
    later = select.cycle[select.cycle > at]
    until = int(later[0]) if len(later) else stimulus.end
    return amount(PRECOMPENSATION.of(int(select.at(at)))), until


def held_for(mismatch: Mismatch, shown: Shown) -> int:
    """Return for how many cycles the core holds sync_equal each time; 0 if the model does, too."""
    core = shown.observed.lanes.get(mismatch.field)
    if mismatch.field != "sync_equal" or core is None:
        return 0
    up, long = _pulses(core, shown)
    model_up, model_long = _pulses(shown.expected.lanes["sync_equal"], shown)
    together = np.isin(up - mismatch.lag, model_up)
    if len(up) < ENOUGH or not together.all() or (long != long[0]).any():
        return 0
    return 0 if len(model_long) and (model_long == long[0]).all() else int(long[0])


def comes_early(mismatch: Mismatch, shown: Shown) -> int:
    """Return how many cycles earlier a write line rises in the core, if as many each time."""
    core = shown.observed.lanes.get(mismatch.field)
    if mismatch.field not in ("write_gate", "write_data") or core is None:
        return 0
    mine, theirs = _pulses(core, shown)[0], _pulses(shown.expected.lines[mismatch.field], shown)[0]
    if min(len(mine), len(theirs)) < 1 or len(mine) < len(theirs):
        return 0
    early = theirs + mismatch.lag - mine[: len(theirs)]
    return int(early[0]) if early[0] > 0 and (early == early[0]).all() else 0


def _pulses(lane: Lane, shown: Shown) -> tuple[Cycles, Cycles]:
    """Return the begins of the pulses that lie within what is compared, and their lengths."""
    lane = lane.between(max(shown.compared_from, int(lane.cycle[0])), shown.stimulus.end)
    up = np.flatnonzero(lane.value[:-1] == 1)
    up = up[up > 0]
    return lane.cycle[up], lane.cycle[up + 1] - lane.cycle[up]
