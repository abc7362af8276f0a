"""A core's own separator, followed through a run: the channel bits it makes of the pulses.

They are held against three things. The block model gets them as its channel bits, so that the
core's register block is compared exactly. The pulses they come from tell which of them are wrong.
And a separator model, if the core claims to be equal to one, says in which cycle each must come.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from refmodel.engine.cause import Cause
from refmodel.engine.compare import CHANNEL_BIT, Mismatch
from refmodel.engine.evidence import Observed
from refmodel.engine.separator_run import SeparatorRun
from refmodel.engine.separator_verdict import DELIVERED, Bounds, ModelTallies, ModelTally, Recovered
from refmodel.engine.timeline import Expected
from refmodel.ground.clauses import SEPARATOR
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.stimulus import Stimulus

STROBE, VALUE = "bit_strobe", "bit_value"  # the core's two signals


class Recovery:
    """Follows a core's separator span by span, beside the model it claims, if it claims one.

    A core sees a pulse `latency` edges after its pin, and may deliver each bit `lag` cycles late.
    """

    def __init__(
        self,
        claimed: SeparatorRun | None,
        latency: int = 0,
        lag: int = 0,
        models: ModelTallies | None = None,
        bounds: Bounds | None = None,
        judged: bool = True,
    ) -> None:
        self.claimed = claimed
        self._last = 0  # the lane in the last cycle of the span before
        self._tally = ModelTally(latency + lag)
        self._models = models
        self._bounds = bounds or Bounds()
        self._judged = judged

    def follow(self, stimulus: Stimulus, observed: Observed) -> tuple[Stimulus, Observed]:
        """Return a span with the core's own channel bits, and what was observed with their lane.

        A bit shown in one cycle is taken by the core's register block at the next edge.
        """
        lane, x_bits = together(observed)
        before = [stimulus.first - 1] if self._last & DELIVERED else []
        cycle, bit = delivered(lane, stimulus.end)
        taken = np.concatenate((np.array(before, np.int64), cycle)) + 1
        bits = np.concatenate((np.array([self._last & 1] * len(before), np.uint8), bit))
        inside = taken < stimulus.end
        self._tally.judge(stimulus, cycle, bit)
        if self._models is not None:
            self._models.judge(stimulus)
        self._last = int(lane.value[-1])
        hidden = (STROBE, VALUE)
        lanes = {n: x for n, x in observed.lanes.items() if n not in hidden} | {CHANNEL_BIT: lane}
        unknown = {n: x for n, x in observed.unknown.items() if n not in hidden}
        undecided = {n: x for n, x in observed.undecided.items() if n not in hidden}
        if STROBE in observed.undecided:
            undecided[CHANNEL_BIT] = observed.undecided[STROBE]
        return (
            stimulus.with_bits(taken[inside], bits[inside]),
            Observed(lanes, unknown | {CHANNEL_BIT: x_bits}, undecided),
        )

    def expect(self, expected: Expected, stimulus: Stimulus, observed: Observed) -> Expected:
        """Return what is expected with the lane of channel bits; without a claim it is the core's.

        Then all that can be wrong with it is that it is unknown.
        """
        own = observed.lanes[CHANNEL_BIT]
        lane = own if self.claimed is None else self.claimed.lane(stimulus)
        return replace(expected, lines={**expected.lines, CHANNEL_BIT: lane})

    def cause(self, mismatch: Mismatch) -> Cause:
        """Say why the model delivers what it does in the cycle of a mismatch of channel bits."""
        if mismatch.through == SEPARATOR:
            said = f"the core's separator: {self._bounds.broken_by(self.recovered())}"
            return Cause(SEPARATOR, said, mismatch.cycle, 0, 0)
        if self.claimed is None:
            return Cause(SEPARATOR, "the bit is unknown", mismatch.cycle, 0, 0)
        return self.claimed.cause(mismatch)

    def recovered(self) -> Recovered:
        """Return what has become of the pulses so far, and what the models made of them."""
        models = self._models.recovered() if self._models is not None else {}
        return replace(self._tally.recovered(), models=models)

    def verdict(self, end: int) -> Mismatch | None:
        """Return the mismatch of a separator that does not keep its bounds, at the end of its run.

        `expected` and `observed` are both 0: the cause says what is wrong.
        """
        if not self._judged or not self._bounds.broken_by(self.recovered()):
            return None
        return Mismatch(end - 1, CHANNEL_BIT, 0, 0, 0, 0, SEPARATOR)


def together(observed: Observed) -> tuple[Lane, Lane]:
    """Return strobe and value as one lane, and its unknown bits; no strobe makes all of it 0."""
    parts = [
        source[name] for source in (observed.lanes, observed.unknown) for name in (STROBE, VALUE)
    ]
    cycles = np.unique(np.concatenate([lane.cycle for lane in parts]))
    strobe, value, vague_strobe, vague_value = (lane.at(cycles) for lane in parts)
    shown = (strobe | vague_strobe) != 0
    two = np.uint32(1)
    return (
        Lane.of(cycles, np.where(shown, strobe << two | value, 0)),
        Lane.of(cycles, np.where(shown, vague_strobe << two | vague_value, 0)),
    )


def delivered(lane: Lane, end: int) -> tuple[Cycles, NDArray[np.uint8]]:
    """Return every cycle before `end` in which a channel bit is delivered, and the bit."""
    length = np.diff(lane.cycle, append=end)
    shown = (lane.value & DELIVERED) != 0
    first, length = lane.cycle[shown], length[shown]
    into = np.arange(length.sum()) - np.repeat(np.cumsum(length) - length, length)
    return np.repeat(first, length) + into, np.repeat(lane.value[shown] & 1, length).astype(
        np.uint8
    )
