"""The register block as a pure function: the readable form of the specification."""

from __future__ import annotations

from dataclasses import dataclass

from refmodel.block.control import TOP_BIT_FRAMING, next_control, waits_for_sync
from refmodel.block.fifo import Fifo
from refmodel.block.framing import Framed, realigns, shift_in
from refmodel.block.inputs import Inputs
from refmodel.block.rules import Rules
from refmodel.block.settings import Settings
from refmodel.block.status import next_byte_ready, pack
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
    read. Plain integers and small choices only: it also runs on symbolic values, whose truth
    divides the run in two.
    """
    if inputs.reset:
        return reset_state(rules)  # B14: whatever else arrives

    # Register writes land first: what follows meets the new words.
    control = state.control
    if inputs.write_control:
        control = next_control(control, inputs.control)  # B13
    written = inputs.write_sync_word
    sync_word = state.sync_word & ~written | inputs.sync_word & written  # B3
    waits = waits_for_sync(control, inputs.wait_for_sync)

    # The channel bit: window, match and bytes.
    framed = Framed(state.window, state.bit_count, state.data)
    if inputs.bit_strobe:
        realign = realigns(rules.realign, waits)
        framed = shift_in(framed, inputs.bit, sync_word, realign, control & TOP_BIT_FRAMING)

    # The transfer: its register's write, the slot, the bit (B9 to B11, B15).
    transfer = next_transfer(rules, state.transfer, inputs, framed, waits, control)

    return State(
        window=framed.window,
        sync_word=sync_word,
        bit_count=framed.bit_count,
        data=framed.data,
        byte_ready=next_byte_ready(
            state.byte_ready, framed.byte_done, inputs.read_status, rules.ready_tie
        ),
        sync_equal=1 if framed.window == sync_word else 0,  # B3: a level
        sync_equal_before=state.sync_equal,
        dma_active=inputs.dma_active | own_dma_active(rules, transfer, inputs.gates),  # B6
        writing=inputs.writing | own_writing(rules, transfer),  # B7
        control=control,
        transfer=transfer,
    )


def reset_state(rules: Rules) -> State:
    """Return the state while reset is asserted (B14)."""
    values = rules.reset
    equal = 1 if values.window == values.sync_word else 0
    return State(
        window=values.window,
        sync_word=values.sync_word,
        bit_count=values.bit_count,
        data=values.data,
        byte_ready=values.byte_ready,
        sync_equal=equal,
        sync_equal_before=equal,
        dma_active=0,
        writing=0,
        control=0,
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
        self.status = status_word(self.rules, self.state)
        self.moved: Move | None = None

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
        before, after = self.state, next_state(self.rules, self.state, inputs)
        self.restore(after)
        self.moved = moved(before.transfer, after.transfer, inputs.slot_data)
        return self.status

    def restore(self, state: State) -> None:
        """Go on from `state`."""
        self.state = state
        self.moved = None
        self.status = status_word(self.rules, state)
