"""A separator model beside a core that claims to be equal to it, from reset to reset."""

from __future__ import annotations

import numpy as np

from refmodel.engine.cause import Cause
from refmodel.engine.compare import Mismatch
from refmodel.ground.clauses import SEPARATOR
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.separated import SeparatedBits
from refmodel.ground.stimulus import Stimulus
from refmodel.separator import leap
from refmodel.separator.interface import Separator


class SeparatorRun:
    """Runs a separator model over one stimulus after another.

    It sees each pulse `latency` edges after the line went active, as a core with a synchroniser
    does, and starts from reset whenever reset ends. Reset makes the line count as inactive: one
    that is still active when reset ends goes active at that edge. `width` is a pulse's length.
    """

    def __init__(self, separator: Separator, latency: int, width: int) -> None:
        self._separator = separator
        self._latency = latency
        self._width = width
        self._waiting = np.empty(0, np.int64)
        self._before = np.empty(0, np.int64)  # the last pulse of the span before
        self._bits: list[SeparatedBits] = []

    def lane(self, stimulus: Stimulus) -> Lane:
        """Return the channel bits delivered in a span: 2 + bit in the cycle of one, else 0."""
        seen = np.concatenate((self._waiting, stimulus.pulses.cycle + self._latency))
        begun = np.concatenate((self._before, stimulus.pulses.cycle))
        for begin, end in stimulus.resets:
            lost = (seen >= begin) & (seen < end + self._latency)
            seen = seen[~lost]
            if ((begun < end) & (begun + self._width > end)).any():
                seen = np.sort(np.append(seen, end + self._latency))
        self._before = begun[-1:]
        self._waiting = seen[seen >= stimulus.end]
        self._bits = []
        for begin, end in stimulus.resets:
            self._run(seen, begin)
            self._separator.reset()
            self._separator.cycle = end - 1
        self._run(seen, stimulus.end)
        cycle, bit = (np.concatenate([getattr(b, n) for b in self._bits]) for n in ("cycle", "bit"))
        cycles = np.stack((cycle, cycle + 1), axis=1).ravel()
        values = np.stack((bit + 2, np.zeros_like(bit)), axis=1).ravel()
        return Lane.of(
            np.concatenate(([stimulus.first], cycles)), np.concatenate(([0], values))
        ).between(stimulus.first, stimulus.end)

    def _run(self, seen: Cycles, end: int) -> None:
        """Run up to edge `end - 1`, and keep the bits."""
        inside = seen[(seen > self._separator.cycle) & (seen < end)]
        self._bits.append(leap.run(self._separator, inside, end))

    def cause(self, mismatch: Mismatch) -> Cause:
        """Say what the model delivers in the cycle of a mismatch, and why."""
        target, name = mismatch.cycle - mismatch.lag, self._separator.name
        begun = [bits for bits in self._bits if (bits.cycle[:1] <= target).any()]
        if not begun:
            return Cause(SEPARATOR, f"{name} has not delivered a channel bit yet", target, 0, 0)
        bits = begun[-1]
        at = int(np.searchsorted(bits.cycle, target, side="right")) - 1
        said = f"{name} delivers a {bits.bit[at]}: {bits.why(at)}"
        if bits.cycle[at] != target:
            said = f"nothing is due in cycle {target}; before it {said}"
        return Cause(SEPARATOR, said, int(bits.cycle[at]), 0, int(bits.bit[at]) + 2)
