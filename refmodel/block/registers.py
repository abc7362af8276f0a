"""The register block, one clock edge a call: the readable form of the specification."""

from __future__ import annotations

from dataclasses import dataclass

from refmodel.block.framing import shift_in
from refmodel.block.profile import Profile
from refmodel.block.status import StatusWord, next_byte_ready


@dataclass(slots=True)
class Inputs:
    """What the block samples at one edge (B1). All are 0 or 1 but the sync word's."""

    reset: int = 0
    bit_strobe: int = 0  # a channel bit arrives
    bit: int = 0
    read_status: int = 0  # the host reads status
    write_sync_word: int = 0  # the bits of sync_word the host writes, 0 for no write
    sync_word: int = 0
    dma_active: int = 0
    writing: int = 0
    wait_for_sync: int = 0


@dataclass(slots=True)
class State:
    """Everything the block remembers from edge to edge. Never changed in place."""

    window: int
    sync_word: int
    bit_count: int
    data: int
    byte_ready: int
    sync_equal: int  # the comparator now (B3)
    sync_equal_before: int  # the comparator one cycle ago, for policy sync_view
    dma_active: int
    writing: int


class RegisterBlock:
    """The registers in one cycle after another.

    `step(inputs)` is one rising edge with the clock enable on: it samples the inputs at that edge
    and returns what status reads from then until the next edge. A host read at edge n returns
    what status showed before it, in cycle n - 1: `block.status` as it is before the call.
    """

    def __init__(self, profile: Profile) -> None:
        policies = profile.policies
        self._word = StatusWord(profile.status)
        self._reset_values = profile.reset
        self._realign_always = policies.realign == "always"
        self._realign_waiting = policies.realign == "when_waiting"
        self._set_wins = policies.ready_tie == "set_wins"
        self._registered_view = policies.sync_view == "registered"
        self.state = self._reset_state()
        self.status = self._status_of(self.state)

    def step(self, inputs: Inputs) -> int:
        """Advance one edge; return the status word of the cycle that starts with it."""
        if self._is_quiet(inputs):
            return self.status
        self.state = self._next_state(inputs)
        self.status = self._status_of(self.state)
        return self.status

    def restore(self, state: State) -> None:
        """Go on from `state`."""
        self.state = state
        self.status = self._status_of(state)

    def _is_quiet(self, inputs: Inputs) -> bool:
        """Return whether nothing arrives and nothing is on its way: the edge changes no state."""
        if inputs.bit_strobe | inputs.read_status | inputs.write_sync_word | inputs.reset:
            return False
        state = self.state
        return (
            state.sync_equal == state.sync_equal_before
            and inputs.dma_active == state.dma_active
            and inputs.writing == state.writing
        )

    def _next_state(self, inputs: Inputs) -> State:
        """Return the state after the edge. On one edge: reset, writes, the bit, then the read."""
        state = self.state
        if inputs.reset:
            return self._reset_state()  # B14
        written = inputs.write_sync_word
        sync_word = state.sync_word & ~written | inputs.sync_word & written
        window, bit_count, data, byte_done = state.window, state.bit_count, state.data, False
        if inputs.bit_strobe:
            realign = self._realign_always or (self._realign_waiting and inputs.wait_for_sync)
            window, bit_count, data, byte_done = shift_in(
                inputs.bit, window, sync_word, bit_count, data, realign
            )
        return State(
            window=window,
            sync_word=sync_word,
            bit_count=bit_count,
            data=data,
            byte_ready=next_byte_ready(
                state.byte_ready, byte_done, inputs.read_status, self._set_wins
            ),
            sync_equal=1 if window == sync_word else 0,  # B3: a level
            sync_equal_before=state.sync_equal,
            dma_active=inputs.dma_active,
            writing=inputs.writing,
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
        )

    def _status_of(self, state: State) -> int:
        """Return the status word that shows `state`."""
        view = state.sync_equal_before if self._registered_view else state.sync_equal
        return self._word.pack(state.byte_ready, state.dma_active, state.writing, view, state.data)
