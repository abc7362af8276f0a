"""The timeline: the register block over whole revolutions, computed with numpy.

It yields exactly what `RegisterBlock.step` would, edge by edge (tests prove them equal), as the
change list of each status field and the value of each read. A span's state is carried into the
next, so a long run costs the memory of one span.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from refmodel.block.fields import UNUSED
from refmodel.block.profile import Profile
from refmodel.block.registers import RegisterBlock, State
from refmodel.engine.framing import Framing, frame, sync_level, sync_word_writes
from refmodel.engine.lane import Cycles, Lane
from refmodel.engine.ready import Ready, ready_flag
from refmodel.engine.stimulus import Stimulus
from refmodel.host.bus import READ_STATUS


@dataclass(frozen=True)
class Expected:
    """What status must show in cycles `first` .. `end - 1`, and what each read must return.

    `lanes` maps each field name, and `unused`, to its changes; every lane begins in cycle `first`.
    `read_value[i]` is the whole status word the read at edge `read_cycle[i]` returns.
    """

    first: int
    end: int
    lanes: dict[str, Lane]
    read_cycle: Cycles
    read_value: NDArray[np.uint16]


class Timeline:
    """Runs a profile's register block over one stimulus after another."""

    def __init__(self, profile: Profile) -> None:
        self._profile = profile
        self._reset_block = RegisterBlock(profile)
        self.state = self._reset_block.state

    def run(self, stimulus: Stimulus) -> Expected:
        """Return what the block shows during `stimulus`, which follows the one run before."""
        pieces = []
        at = stimulus.first
        for start, stop in stimulus.resets:
            if at < start:
                pieces.append(self._running(stimulus.between(at, start)))
            pieces.append(self._in_reset(stimulus.between(start, min(stop, stimulus.end))))
            at = stop
        if at < stimulus.end:
            pieces.append(self._running(stimulus.between(at, stimulus.end)))
        return _joined(pieces)

    def _in_reset(self, stimulus: Stimulus) -> Expected:
        """Reset is asserted at every edge: each field shows its reset value (B14)."""
        before = self._shown(self.state)
        self.state = self._reset_block.state
        shown = self._shown(self.state)
        lanes = {name: Lane.constant(value, stimulus.first) for name, value in shown.items()}
        reads = stimulus.access_cycle[stimulus.access_kind == READ_STATUS]
        fields = {
            name: np.where(reads == stimulus.first, before[name], shown[name]) for name in shown
        }
        return self._expected(stimulus, lanes, reads, fields)

    def _running(self, stimulus: Stimulus) -> Expected:
        """No reset falls in the span: compute every field's changes at once."""
        state, before = self.state, self._shown(self.state)
        first, end = stimulus.first, stimulus.end
        reads = stimulus.access_cycle[stimulus.access_kind == READ_STATUS]
        writes = sync_word_writes(stimulus, state.sync_word)
        framing = frame(stimulus, writes, state, self._profile.policies.realign)
        ready = ready_flag(
            framing.byte_cycle, reads, state.byte_ready, self._profile.policies.ready_tie, first
        )
        live = sync_level(stimulus, writes, framing, state)
        lanes = {
            "byte_ready": ready.lane,
            "dma_active": _level(stimulus, "dma_active"),
            "writing": _level(stimulus, "writing"),
            "sync_equal": self._sync_view(live, state, stimulus),
            "data": Lane.of(
                np.concatenate(([first], framing.byte_cycle)),
                np.concatenate(([state.data], framing.byte)),
            ),
            UNUSED: Lane.constant(0, first),
        }
        self.state = _state_after(state, framing, ready, live, lanes, end)
        at_reads = {
            name: _before(lane, reads, before[name])
            for name, lane in lanes.items()
            if name != "byte_ready"
        }
        return self._expected(stimulus, lanes, reads, {**at_reads, "byte_ready": ready.at_read})

    def _sync_view(self, live: Lane, state: State, stimulus: Stimulus) -> Lane:
        """Return sync_equal as status shows it (B3, policy sync_view)."""
        if self._profile.policies.sync_view == "live":
            return live
        late = Lane.of(
            np.concatenate(([stimulus.first], live.cycle + 1)),
            np.concatenate(([state.sync_equal], live.value)),
        )
        return late.between(stimulus.first, stimulus.end)

    def _shown(self, state: State) -> dict[str, int]:
        """Return the value of every lane while the block is in `state`."""
        registered = self._profile.policies.sync_view == "registered"
        return {
            "byte_ready": state.byte_ready,
            "dma_active": state.dma_active,
            "writing": state.writing,
            "sync_equal": state.sync_equal_before if registered else state.sync_equal,
            "data": state.data,
            UNUSED: 0,
        }

    def _expected(
        self,
        stimulus: Stimulus,
        lanes: dict[str, Lane],
        reads: Cycles,
        fields: dict[str, NDArray[np.integer]],
    ) -> Expected:
        """Pack the field values at the reads into status words."""
        word = np.zeros(len(reads), np.uint16)
        for field in self._profile.status.fields:
            word |= fields[field.name].astype(np.uint16) << np.uint16(field.lsb)
        return Expected(stimulus.first, stimulus.end, lanes, reads, word)


def _level(stimulus: Stimulus, name: str) -> Lane:
    """Return a level input over the span; one that is not driven is 0."""
    lane = stimulus.levels.get(name)
    if lane is None:
        return Lane.constant(0, stimulus.first)
    return lane.between(stimulus.first, stimulus.end)


def _before(lane: Lane, edges: Cycles, initial: int) -> NDArray[np.uint32]:
    """Return the lane's value in the cycle before each edge; before the lane begins, `initial`."""
    if len(lane.cycle) == 1 and int(lane.value[0]) == initial:
        return np.full(len(edges), initial, np.uint32)
    values = np.concatenate((np.array([initial], np.uint32), lane.value))
    return values[np.searchsorted(lane.cycle, edges, side="left")]


def _state_after(
    state: State, framing: Framing, ready: Ready, live: Lane, lanes: dict[str, Lane], end: int
) -> State:
    """Return the block's state in cycle `end - 1`."""
    last = end - 1
    before = _before(live, np.array([last]), state.sync_equal)
    return State(
        window=framing.window_after,
        sync_word=framing.sync_word_after,
        bit_count=framing.bit_count_after,
        data=int(lanes["data"].at(last)),
        byte_ready=ready.after,
        sync_equal=int(live.at(last)),
        sync_equal_before=int(before[0]),
        dma_active=int(lanes["dma_active"].at(last)),
        writing=int(lanes["writing"].at(last)),
        control=state.control,
        transfer=state.transfer,
    )


def _joined(pieces: list[Expected]) -> Expected:
    """Put consecutive spans together."""
    if len(pieces) == 1:
        return pieces[0]
    lanes = {
        name: Lane.of(
            np.concatenate([p.lanes[name].cycle for p in pieces]),
            np.concatenate([p.lanes[name].value for p in pieces]),
        )
        for name in pieces[0].lanes
    }
    return Expected(
        pieces[0].first,
        pieces[-1].end,
        lanes,
        np.concatenate([p.read_cycle for p in pieces]),
        np.concatenate([p.read_value for p in pieces]),
    )
