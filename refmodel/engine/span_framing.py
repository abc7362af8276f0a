"""Control, waiting and framing of a whole span, as a channel bit meets them: B3, B4 and B13."""

from __future__ import annotations

from dataclasses import dataclass

from refmodel.block.control import TOP_BIT_FRAMING, WAIT_FOR_SYNC
from refmodel.block.registers import State
from refmodel.block.rules import Rules
from refmodel.engine.control import bit_of, control_lane
from refmodel.engine.framing import Framing, Writes, frame, sync_word_writes
from refmodel.ground.lane import Lane, either
from refmodel.ground.stimulus import Stimulus


@dataclass(frozen=True)
class SpanFraming:
    """`control` as it stands in each cycle, and `met` by the bit of an edge (same_edge_write).

    `waits` is up where a match is waited for, `writes` are those of sync_word.
    """

    control: Lane
    met: Lane
    waits: Lane
    writes: Writes
    framing: Framing


def span_framing(rules: Rules, stimulus: Stimulus, state: State) -> SpanFraming:
    """Frame the channel bits of a span that begins in `state`."""
    control = control_lane(stimulus, state.control, rules.control_there)
    met = control
    if rules.same_edge_write == "old":
        met = control.late(state.control, stimulus.end)
    waits = either(stimulus.level("wait_for_sync"), bit_of(met, WAIT_FOR_SYNC))
    realigning = waits
    if rules.realign != "when_waiting":
        realigning = Lane.constant(int(rules.realign == "always"), stimulus.first)
    writes = sync_word_writes(stimulus, state.sync_word)
    framing = frame(rules, stimulus, writes, state, realigning, bit_of(met, TOP_BIT_FRAMING))
    return SpanFraming(control, met, waits, writes, framing)
