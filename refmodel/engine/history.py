"""What happened long before a mismatch and still matters for it: the last of each kind."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from refmodel.block.control import WAIT_FOR_SYNC
from refmodel.block.registers import State
from refmodel.engine.control import bit_of, control_lane
from refmodel.engine.timeline import Expected
from refmodel.ground.bus import WRITE_KINDS
from refmodel.ground.lane import either
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.word import WORD
from refmodel.profile import Profile

MATCH, RESET = "match", "reset"
GATES = ("master_enable", "channel_enable")
EQUAL = ("sync_word", RESET)
FRAMING = ("sync_word", "control", MATCH, RESET)
MATTERS: dict[str, tuple[str, ...]] = {
    "sync_equal": ("sync_word", RESET),
    "sync_found": ("sync_word", RESET),
}
MATTERS |= {"data": FRAMING, "byte_ready": FRAMING, "unused": (RESET,)}
MATTERS |= {"sync_word": EQUAL, "control": ("control", RESET)}
MATTERS |= {"window": (RESET,), "bit_count": FRAMING}
TRANSFER = ("transfer", *GATES, *FRAMING)  # of all other fields and lines


@dataclass(frozen=True)
class Earlier:
    """The last event of a kind before a mismatch: a register's write, a match, a reset, a gate.

    `value` is what was written (bits `mask`), 1 for a match that realigns, the gate's level; the
    cycle of a reset is its last one.
    """

    what: str
    cycle: int
    value: int = 0
    mask: int = WORD


class History:
    """Keeps the last event of each kind while a run goes by, span after span."""

    def __init__(self, profile: Profile) -> None:
        self._profile = profile
        self._last: dict[tuple[str, int], Earlier] = {}

    def follow(self, state: State, stimulus: Stimulus, expected: Expected, end: int) -> None:
        """Take the events of a span before cycle `end`; the block was in `state` before it."""
        for event in self._events(state, stimulus, expected, end):
            self._last[event.what, event.mask] = event

    def before(self, field: str) -> list[Earlier]:
        """Return the events that matter for a field, the first one first."""
        matters = MATTERS.get(field, TRANSFER)
        found = [event for event in self._last.values() if event.what in matters]
        return sorted(found, key=lambda event: event.cycle)

    def _events(
        self, state: State, stimulus: Stimulus, expected: Expected, end: int
    ) -> Iterator[Earlier]:
        for name, kind in WRITE_KINDS.items():
            for cycle, mask, value in stimulus.writes(kind):
                if cycle < end:
                    yield Earlier(name, cycle, value, mask if name == "sync_word" else WORD)
        found = expected.lines["sync_found"]
        matches = found.cycle[(found.value == 1) & (found.cycle < end)]
        if len(matches):
            yield Earlier(MATCH, int(matches[-1]), self._realigns(state, stimulus, matches[-1]))
        for start, stop in stimulus.resets:
            if start < end:
                yield Earlier(RESET, min(stop, end) - 1)
        for name in GATES:
            lane = stimulus.level(name)
            changes = np.flatnonzero((lane.cycle > stimulus.first) & (lane.cycle < end))
            if len(changes):
                yield Earlier(name, int(lane.cycle[changes[-1]]), int(lane.value[changes[-1]]))

    def _realigns(self, state: State, stimulus: Stimulus, cycle: int) -> int:
        """Return whether a match in a cycle restarts the byte (B4, policy realign)."""
        policy = self._profile.policies.realign
        if policy != "when_waiting":
            return int(policy == "always")
        held = control_lane(stimulus, state.control, self._profile.control_there)
        control = bit_of(held, WAIT_FOR_SYNC)
        return int(either(stimulus.level("wait_for_sync"), control).at(cycle))
