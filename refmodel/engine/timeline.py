"""The timeline: the register block over whole revolutions, computed with numpy.

It yields exactly what `RegisterBlock.step` would, edge by edge (tests prove them equal), as the
change list of each output, the value of each read and the words moved. A span's state is carried
into the next, so a long run costs the memory of one span.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from refmodel.block.fields import UNUSED
from refmodel.block.registers import RegisterBlock, State, reset_state
from refmodel.engine.framing import Framing, sync_level
from refmodel.engine.happened import Happened, at_last_bit, doing_of
from refmodel.engine.inner import INNER, inner_lanes, inner_state
from refmodel.engine.ready import ready_flag
from refmodel.engine.span_framing import span_framing
from refmodel.engine.transfer import TransferRun, at_rest, run_transfer
from refmodel.engine.transfer_span import TransferSpan
from refmodel.ground.lane import Cycles, Lane, both, either
from refmodel.ground.moves import Moves
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import Profile

LINES = ("write_gate", "write_data", "sync_found", "transfer_done", "lost_words", "underruns")


@dataclass(frozen=True)
class Expected:
    """What the block must show in cycles `first` .. `end - 1`, and what each read must return.

    `lanes` maps each field name, and `unused`, to its changes; every lane begins in cycle `first`.
    `read_value[i]` is the whole status word the read at edge `read_cycle[i]` returns. `lines` maps
    the names of `LINES` to the outputs beside status, the last two being diagnostic counters, and
    those of the registers inside that were asked for to what they hold.
    `moves` are the words that slots moved, `happened` is what came about inside the block.
    """

    first: int
    end: int
    lanes: dict[str, Lane]
    read_cycle: Cycles
    read_value: NDArray[np.uint16]
    lines: dict[str, Lane] = field(default_factory=dict)
    moves: Moves = field(default_factory=Moves)
    happened: Happened = field(default_factory=Happened)

    def _repr_html_(self) -> str:
        from refmodel.ground.notebook import table

        lanes = {**self.lanes, **self.lines}.items()
        rows = [(name, str(len(lane.cycle)), f"0x{int(lane.value[-1]):X}") for name, lane in lanes]
        return table((f"cycles {self.first} to {self.end - 1}", "changes", "at the end"), rows)


class Timeline:
    """Runs a profile's register block over one stimulus after another.

    The registers inside named in `inner`, of those in `INNER`, are among the lines.
    """

    def __init__(self, profile: Profile, inner: Collection[str] = ()) -> None:
        self._fields = profile.status.fields
        self._inner = [name for name in INNER if name in inner]
        self._reset_block = RegisterBlock(profile)
        self._rules = self._reset_block.rules
        self.state = self._reset_block.state

    def run(self, stimulus: Stimulus) -> Expected:
        """Return what the block shows during `stimulus`, which follows the one run before.

        Raises UserError when a transfer runs past the memory.
        """
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
        happened = self._kept_from(stimulus)
        self.state = reset_state(self._rules, self.state)
        shown = self._shown(self.state)
        lanes = {name: Lane.constant(value, stimulus.first) for name, value in shown.items()}
        reads = stimulus.clearing_reads
        fields = {
            name: np.where(reads == stimulus.first, before[name], shown[name]) for name in shown
        }
        lines = {name: Lane.constant(0, stimulus.first) for name in LINES}
        lines |= inner_state(self._inner, self.state, stimulus.first)
        value = self._status_words(reads, fields)
        return Expected(stimulus.first, stimulus.end, lanes, reads, value, lines, happened=happened)

    def _kept_from(self, stimulus: Stimulus) -> Happened:
        """Return what would have happened on the first edge of a reset, had it not come."""
        idle = Lane.constant(doing_of(self._reset_block.state.transfer), stimulus.first)
        before, first = doing_of(self.state.transfer), stimulus.first
        bits = stimulus.between(first, first + 1)
        if not len(bits.bit_cycle):
            return Happened(doing=idle, before=before)
        span = span_framing(self._rules, bits, self.state)
        last = at_last_bit(self.state.transfer)
        return Happened(
            span.framing.ends,
            bits.bit_cycle[span.framing.match],
            bits.bit_cycle[:1] if last else bits.bit_cycle[:0],
            doing=idle,
            before=before,
        )

    def _running(self, stimulus: Stimulus) -> Expected:
        """No reset falls in the span: compute every output's changes at once."""
        state, before = self.state, self._shown(self.state)
        first, end = stimulus.first, stimulus.end
        reads = stimulus.clearing_reads
        span = span_framing(self._rules, stimulus, state)
        framing, control = span.framing, span.control
        clears, clears_next = self._clears(stimulus, reads)
        ready = ready_flag(
            framing.byte_cycle, clears, state.byte_ready, self._rules.ready_tie, first
        )
        live = sync_level(self._rules, stimulus, span.writes, framing, state)
        transfer = self._transfer(stimulus, framing, span.waits, span.met)
        lanes = {
            "byte_ready": ready,
            "dma_active": either(stimulus.level("dma_active"), transfer.shown["dma_active"]),
            "writing": either(stimulus.level("writing"), transfer.shown["writing"]),
            "sync_equal": self._sync_view(live, state, stimulus),
            "data": Lane.of(
                np.concatenate(([first], framing.byte_cycle)),
                np.concatenate(([state.data], framing.byte)),
            ),
            UNUSED: Lane.constant(0, first),
        }
        lines = {name: transfer.shown[name] for name in LINES if name != "sync_found"}
        lines["sync_found"] = _rises(live, state.sync_equal, end)
        lines |= inner_lanes(self._inner, self._rules, stimulus, state, span)
        at_reads: dict[str, NDArray[np.integer]] = {
            name: _before(lane, reads, before[name]) for name, lane in lanes.items()
        }
        value = self._status_words(reads, at_reads)
        self.state = _state_after(state, framing, clears_next, live, lanes, control, transfer, end)
        happened = Happened(
            framing.ends,
            stimulus.bit_cycle[framing.match],
            transfer.word_ends,
            transfer.doing,
            doing_of(state.transfer),
        )
        return Expected(first, end, lanes, reads, value, lines, transfer.moves, happened)

    def _clears(self, stimulus: Stimulus, reads: Cycles) -> tuple[Cycles, int]:
        """Return the edges on which reads clear byte_ready, and 1 if one is left for the next.

        Policy read_clears (B5): at the read's own edge, or at the edge after.
        """
        if self._rules.read_clears == "at_edge":
            return reads, 0
        waiting = [stimulus.first] * self.state.clears_next
        clears = np.concatenate((np.array(waiting, np.int64), reads + 1))
        inside = clears < stimulus.end
        return clears[inside], int(not inside.all())

    def _transfer(
        self, stimulus: Stimulus, framing: Framing, waits: Lane, control: Lane
    ) -> TransferRun:
        """Return what the transfer does in the span."""
        resting = at_rest(self._rules, stimulus, self.state.transfer)
        if resting is not None:
            return resting
        gates = both(stimulus.level("master_enable"), stimulus.level("channel_enable"))
        span = TransferSpan(stimulus, self._reset_block, framing, waits, control, gates)
        return run_transfer(span, self.state.transfer)

    def _sync_view(self, live: Lane, state: State, stimulus: Stimulus) -> Lane:
        """Return sync_equal as status shows it (B3, policy sync_view)."""
        if self._rules.sync_view == "live":
            return live
        return live.late(state.sync_equal, stimulus.end)

    def _shown(self, state: State) -> dict[str, int]:
        """Return the value of every lane while the block is in `state`."""
        registered = self._rules.sync_view == "registered"
        return {
            "byte_ready": state.byte_ready,
            "dma_active": state.dma_active,
            "writing": state.writing,
            "sync_equal": state.sync_equal_before if registered else state.sync_equal,
            "data": state.data,
            UNUSED: 0,
        }

    def _status_words(
        self, reads: Cycles, fields: dict[str, NDArray[np.integer]]
    ) -> NDArray[np.uint16]:
        """Pack the field values at the reads into status words."""
        word = np.zeros(len(reads), np.uint16)
        for f in self._fields:
            word |= fields[f.name].astype(np.uint16) << np.uint16(f.lsb)
        return word


def _rises(level: Lane, before: int, end: int) -> Lane:
    """Return a pulse of one cycle wherever the level rises (B12); `before` is its last value."""
    first = int(level.cycle[0])
    up = level.cycle[np.flatnonzero(level.value)]
    if before and len(up) and int(up[0]) == first:
        up = up[1:]
    cycle = np.concatenate(([first], np.repeat(up, 2) + np.tile((0, 1), len(up))))
    value = np.concatenate(([0], np.tile((1, 0), len(up))))
    return Lane.of(cycle[cycle < end], value[cycle < end])


def _before(lane: Lane, edges: Cycles, initial: int) -> NDArray[np.uint32]:
    """Return the lane's value in the cycle before each edge; before the lane begins, `initial`."""
    if len(lane.cycle) == 1 and int(lane.value[0]) == initial:
        return np.full(len(edges), initial, np.uint32)
    values = np.concatenate((np.array([initial], np.uint32), lane.value))
    return values[np.searchsorted(lane.cycle, edges, side="left")]


def _state_after(
    state: State,
    framing: Framing,
    clears_next: int,
    live: Lane,
    lanes: dict[str, Lane],
    control: Lane,
    transfer: TransferRun,
    end: int,
) -> State:
    """Return the block's state in cycle `end - 1`."""
    last = end - 1
    before = _before(live, np.array([last]), state.sync_equal)
    return State(
        window=framing.window_after,
        sync_word=framing.sync_word_after,
        bit_count=framing.bit_count_after,
        data=int(lanes["data"].at(last)),
        byte_ready=int(lanes["byte_ready"].at(last)),
        clears_next=clears_next,
        sync_equal=int(live.at(last)),
        sync_equal_before=int(before[0]),
        dma_active=int(lanes["dma_active"].at(last)),
        writing=int(lanes["writing"].at(last)),
        control=int(control.at(last)),
        transfer=transfer.after,
    )


def _joined(pieces: list[Expected]) -> Expected:
    """Put consecutive spans together."""
    if len(pieces) == 1:
        return pieces[0]
    return Expected(
        pieces[0].first,
        pieces[-1].end,
        _joined_lanes([p.lanes for p in pieces]),
        np.concatenate([p.read_cycle for p in pieces]),
        np.concatenate([p.read_value for p in pieces]),
        _joined_lanes([p.lines for p in pieces]),
        Moves.joined([p.moves for p in pieces]),
        Happened.joined([p.happened for p in pieces]),
    )


def _joined_lanes(parts: list[dict[str, Lane]]) -> dict[str, Lane]:
    """Put the lanes of consecutive spans together."""
    return {
        name: Lane.of(
            np.concatenate([part[name].cycle for part in parts]),
            np.concatenate([part[name].value for part in parts]),
        )
        for name in parts[0]
    }
