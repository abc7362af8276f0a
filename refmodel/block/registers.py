"""The register block, one clock edge a call: the readable form of the specification."""

from __future__ import annotations

from dataclasses import dataclass, replace

from refmodel.block.control import TOP_BIT_FRAMING, WAIT_FOR_SYNC, next_control
from refmodel.block.framing import shift_in
from refmodel.block.settings import Settings
from refmodel.block.status import StatusWord, next_byte_ready
from refmodel.block.transfer import Move, Sampled, Transfer, TransferPath
from refmodel.block.writer import NEVER


@dataclass(slots=True)
class Inputs:
    """What the block samples at one edge (B1). All are 0 or 1 but the words written or offered."""

    reset: int = 0
    bit_strobe: int = 0  # a channel bit arrives
    bit: int = 0
    read_status: int = 0  # the host reads status
    write_sync_word: int = 0  # the bits of sync_word the host writes, 0 for no write
    sync_word: int = 0
    dma_active: int = 0  # level from outside, beside the block's own (B6)
    writing: int = 0  # likewise (B7)
    wait_for_sync: int = 0  # likewise, beside control's
    write_transfer: int = 0  # the host writes transfer; on a byte-wide bus, its second byte
    transfer: int = 0
    write_control: int = 0  # likewise
    control: int = 0
    master_enable: int = 1  # B15
    channel_enable: int = 1
    slot: int = 0  # a memory slot is granted
    slot_data: int = 0  # the word memory offers in it

    @property
    def gates(self) -> int:
        """1 while both enables let the transfer go on (B15)."""
        return self.master_enable & self.channel_enable


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


class RegisterBlock:
    """The registers in one cycle after another.

    `step(inputs)` is one rising edge with the clock enable on: it samples the inputs at that edge
    and returns what status reads from then until the next edge. A host read at edge n returns
    what status showed before it, in cycle n - 1: `block.status` as it is before the call.
    The other outputs are properties. `moved` is what the slot of the last edge moved, if anything.
    """

    def __init__(self, settings: Settings) -> None:
        policies = settings.policies
        self.settings = settings
        self.path = TransferPath(settings)
        self._word = StatusWord(settings.status)
        self._reset_values = settings.reset
        self._realign_always = policies.realign == "always"
        self._realign_waiting = policies.realign == "when_waiting"
        self._set_wins = policies.ready_tie == "set_wins"
        self._registered_view = policies.sync_view == "registered"
        self._running_is_active = policies.dma_active_means == "running"
        self._request_is_writing = policies.writing_means == "requested"
        self.moved: Move | None = None
        self.state = self._reset_state()
        self.status = self._status_of(self.state)

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
        return self.state.sync_equal & ~self.state.sync_equal_before

    @property
    def transfer_done(self) -> int:
        """Pulse of one cycle: the last word of a transfer has been moved (B12)."""
        return self.state.transfer.done

    def step(self, inputs: Inputs) -> int:
        """Advance one edge; return the status word of the cycle that starts with it."""
        if self._is_quiet(inputs):
            return self.status
        self.moved = None
        self.state = self._next_state(inputs)
        self.status = self._status_of(self.state)
        return self.status

    def restore(self, state: State) -> None:
        """Go on from `state`."""
        self.moved = None
        self.state = state
        self.status = self._status_of(state)

    def quiet_edges(self, inputs: Inputs) -> int:
        """Return after how many edges something happens by itself if the inputs stay like this.

        A slot is an input: without one a running transfer moves nothing. `NEVER` for never.
        """
        state, transfer = self.state, self.state.transfer
        if state.sync_equal != state.sync_equal_before or transfer.done:
            return 0
        if not transfer.write or not inputs.gates:
            return NEVER
        if transfer.fifo.used and not transfer.writer.active:
            return 0
        return transfer.writer.quiet_edges

    def pass_quiet(self, edges: int) -> None:
        """Let some of the `quiet_edges` pass at once."""
        self.moved = None
        transfer = self.state.transfer
        if transfer.writer.active:
            writer = transfer.writer.after_quiet(edges)
            self.state = replace(self.state, transfer=transfer._replace(writer=writer))

    def own_dma_active(self, transfer: Transfer, gates: int) -> int:
        """Return the block's own part of dma_active (B6) after an edge that sampled `gates`."""
        return gates & (transfer.running if self._running_is_active else transfer.enable)

    def own_writing(self, transfer: Transfer) -> int:
        """Return the block's own part of writing (B7)."""
        return transfer.write if self._request_is_writing else transfer.writer.gate

    def _is_quiet(self, inputs: Inputs) -> bool:
        """Return whether nothing arrives and nothing is on its way: the edge changes no state."""
        if (
            inputs.bit_strobe
            | inputs.read_status
            | inputs.write_sync_word
            | inputs.reset
            | inputs.write_transfer
            | inputs.write_control
        ):
            return False
        state = self.state
        if state.transfer.enable:
            return self._is_quiet_enabled(inputs)
        return (
            state.sync_equal == state.sync_equal_before
            and inputs.dma_active == state.dma_active
            and inputs.writing == state.writing
        )

    def _is_quiet_enabled(self, inputs: Inputs) -> bool:
        """Return the same when enable was written as 1; without, the path does nothing (B9)."""
        gates = inputs.gates
        if not gates or inputs.slot or self.moved or self.quiet_edges(inputs) < NEVER:
            return False
        state, transfer = self.state, self.state.transfer
        return (
            inputs.dma_active | self.own_dma_active(transfer, gates) == state.dma_active
            and inputs.writing | self.own_writing(transfer) == state.writing
        )

    def _next_state(self, inputs: Inputs) -> State:
        """Return the state after the edge.

        On one edge: reset, register writes, the memory slot, the channel bit, then the read.
        """
        state = self.state
        if inputs.reset:
            return self._reset_state()  # B14
        control = state.control
        if inputs.write_control:
            control = next_control(control, inputs.control)
        waits = 1 if inputs.wait_for_sync or control & WAIT_FOR_SYNC else 0
        realign = 1 if self._realign_always or (self._realign_waiting and waits) else 0
        written = inputs.write_sync_word
        sync_word = state.sync_word & ~written | inputs.sync_word & written
        window, bit_count, data, byte_done = state.window, state.bit_count, state.data, False
        if inputs.bit_strobe:
            window, bit_count, data, byte_done = shift_in(
                inputs.bit, window, sync_word, bit_count, data, realign, control & TOP_BIT_FRAMING
            )
        sync_equal = 1 if window == sync_word else 0  # B3: a level
        dma_active, writing, transfer = inputs.dma_active, inputs.writing, state.transfer
        if inputs.write_transfer or transfer.enable:
            gates = inputs.gates
            edge = _sampled(inputs, window, sync_equal, realign, waits, control)
            transfer, self.moved = self.path.next(transfer, edge)
            dma_active |= self.own_dma_active(transfer, gates)
            writing |= self.own_writing(transfer)
        return State(
            window=window,
            sync_word=sync_word,
            bit_count=bit_count,
            data=data,
            byte_ready=next_byte_ready(
                state.byte_ready, byte_done, inputs.read_status, self._set_wins
            ),
            sync_equal=sync_equal,
            sync_equal_before=state.sync_equal,
            dma_active=dma_active,
            writing=writing,
            control=control,
            transfer=transfer,
        )

    def _reset_state(self) -> State:
        """Return the state while reset is asserted (B14)."""
        values = self._reset_values
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
            transfer=self.path.at_reset,
        )

    def _status_of(self, state: State) -> int:
        """Return the status word that shows `state`."""
        view = state.sync_equal_before if self._registered_view else state.sync_equal
        return self._word.pack(state.byte_ready, state.dma_active, state.writing, view, state.data)


def _sampled(
    inputs: Inputs, window: int, match: int, realign: int, waits: int, control: int
) -> Sampled:
    """Return what the transfer's path sees of an edge."""
    return Sampled(
        inputs.gates,
        inputs.write_transfer,
        inputs.transfer,
        inputs.slot,
        inputs.slot_data,
        inputs.bit_strobe,
        window,
        match,
        realign,
        waits,
        control,
    )
