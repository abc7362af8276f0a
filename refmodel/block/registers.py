"""The register block as a pure function: the readable form of the specification."""

from __future__ import annotations

from dataclasses import dataclass

from refmodel.block.control import TOP_BIT_FRAMING, next_control, waits_for_sync
from refmodel.block.fifo import Fifo
from refmodel.block.framing import Framed, compared, met, realigns, shift_in
from refmodel.block.inputs import Inputs
from refmodel.block.rules import Rules
from refmodel.block.settings import Settings
from refmodel.block.status import cleared, next_byte_ready, pack
from refmodel.block.transfer import (
    Move,
    Transfer,
    moved,
    next_transfer,
    own_dma_active,
    own_writing,
)


@dataclass(slots=True)
class State:
    """Everything the block remembers from edge to edge. Never changed in place."""

    window: int
    sync_word: int
    bit_count: int
    data: int
    byte_ready: int
    clears_next: int  # a read of the last edge clears byte_ready at the next (policy read_clears)
    sync_equal: int  # the comparator now (B3)
    sync_equal_before: int  # the comparator one cycle ago, for sync_found and policy sync_view
    dma_active: int  # as status shows it
    writing: int
    control: int
    transfer: Transfer

    def _repr_html_(self) -> str:
        from refmodel.ground.notebook import table

        names = ("window", "sync_word", "bit_count", "data", "byte_ready", "sync_equal", "control")
        return table(("register", "value"), [(n, f"0x{getattr(self, n):X}") for n in names])


def next_state(rules: Rules, state: State, inputs: Inputs) -> State:
    """Return the state after one rising edge with the clock enable on (B1).

    On one edge: reset, register writes, the memory slot, the channel bit, then the clear by a
    read; where one of them sees another, SPEC.md's table of one edge says which policy decides.
    Plain integers and small choices only: it also runs on symbolic values, whose truth
    divides the run in two.
    """
    if inputs.reset:
        return reset_state(rules, state)  # B14: whatever else arrives

    # Register writes. What follows meets the new words, or the old (policy same_edge_write).
    control, sync_word = state.control, state.sync_word
    if inputs.write_control:
        control = next_control(control, inputs.control, rules.control_there)  # B13
    written = inputs.write_sync_word
    sync_word = sync_word & ~written | inputs.sync_word & written  # B3
    met_control = met(rules, state.control, control)
    met_sync_word = met(rules, state.sync_word, sync_word)
    waits = waits_for_sync(met_control, inputs.wait_for_sync)

    # The channel bit: window, match and bytes (B2, B4).
    framed = Framed(state.window, state.bit_count, state.data)
    if inputs.bit_strobe:
        realign, by_top_bit = realigns(rules, waits), met_control & TOP_BIT_FRAMING
        framed = shift_in(rules, framed, inputs.bit, met_sync_word, realign, by_top_bit)

    # The comparator is a level (B3), or moves with channel bits only (policy sync_compare).
    equal = 1 if framed.window == sync_word else 0
    at_bit = framed.match if inputs.bit_strobe else state.sync_equal
    sync_equal = compared(rules, equal, at_bit)

    # The transfer: its register's write, the slot, the bit (B9 to B11, B15).
    transfer = next_transfer(rules, state.transfer, inputs, framed, waits, met_control)

    # The clear by a read, at its edge or one later (B5, policy read_clears).
    clears, clears_next = cleared(rules, inputs.read_status, state.clears_next)

    byte_ready = next_byte_ready(rules, state.byte_ready, framed.byte_done, clears)
    dma_active = inputs.dma_active | own_dma_active(rules, transfer, inputs.gates)  # B6
    writing = inputs.writing | own_writing(rules, transfer)  # B7

    return State(  # by position, in the order above: by keyword a step takes half as long again
        framed.window,
        sync_word,
        framed.bit_count,
        framed.data,
        byte_ready,
        clears_next,
        sync_equal,
        state.sync_equal,
        dma_active,
        writing,
        control,
        transfer,
    )


def reset_state(rules: Rules, before: State | None = None) -> State:
    """Return the state while reset is asserted (B14); `before` has what reset leaves alone."""
    values = rules.reset
    window, sync_word, data = values.window, values.sync_word, values.data
    if before is not None:
        window = before.window if "window" in rules.reset_leaves else window
        sync_word = before.sync_word if "sync_word" in rules.reset_leaves else sync_word
        data = before.data if "data" in rules.reset_leaves else data
    equal = 1 if window == sync_word else 0
    return State(
        window=window,
        sync_word=sync_word,
        bit_count=values.bit_count,
        data=data,
        byte_ready=values.byte_ready,
        clears_next=0,
        sync_equal=equal,
        sync_equal_before=equal,
        dma_active=0,
        writing=0,
        control=values.control,
        transfer=Transfer(Fifo.empty(rules.fifo_words)),
    )


def status_word(rules: Rules, state: State) -> int:
    """Return what a read of status in this state returns (B3, policy sync_view; B8)."""
    sync_equal = state.sync_equal
    if rules.sync_view == "registered":
        sync_equal = state.sync_equal_before
    return pack(rules, state.byte_ready, state.dma_active, state.writing, sync_equal, state.data)


def sync_found(state: State) -> int:
    """Return the pulse of one cycle in which the comparator has risen (B12)."""
    return state.sync_equal & (1 - state.sync_equal_before)


class RegisterBlock:
    """The registers in one cycle after another.

    `step(inputs)` is one rising edge with the clock enable on: it samples the inputs at that edge
    and returns what status reads from then until the next edge. A host read at edge n returns
    what status showed before it, in cycle n - 1: `block.status` as it is before the call.
    The other outputs are properties. `moved` is what the slot of the last edge moved, if anything.
    """

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.rules = Rules.of(settings)
        self.state = reset_state(self.rules)
        self.moved: Move | None = None

    @property
    def status(self) -> int:
        """What a read of status returns in this cycle."""
        return status_word(self.rules, self.state)

    @property
    def write_gate(self) -> int:
        """Level: the disk is being written (B11)."""
        return self.state.transfer.writer.gate

    @property
    def write_data(self) -> int:
        """Pulse of one cycle: a written channel 1 (B11)."""
        return self.state.transfer.writer.data

    @property
    def sync_found(self) -> int:
        """Pulse of one cycle: the comparator has risen (B12)."""
        return sync_found(self.state)

    @property
    def transfer_done(self) -> int:
        """Pulse of one cycle: the last word of a transfer has been moved (B12)."""
        return self.state.transfer.done

    def step(self, inputs: Inputs) -> int:
        """Advance one edge; return the status word of the cycle that starts with it."""
        self.advance(inputs)
        return self.status

    def advance(self, inputs: Inputs) -> None:
        """Advance one edge."""
        before = self.state
        after = self.state = next_state(self.rules, before, inputs)
        self.moved = moved(self.rules, before.transfer, after.transfer, inputs.slot_data)

    def restore(self, state: State) -> None:
        """Go on from `state`."""
        self.state = state
        self.moved = None
