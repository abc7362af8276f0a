"""Quiet edges: how long the block does nothing but count by itself. The one place that skips.

`next_state` computes every edge alike. What makes the model fast is here: with inputs that stay
as they were at the last edge, and nothing arriving, the edges up to the next event change no
more than the tick of the bit being written.
"""

from __future__ import annotations

from dataclasses import replace

from refmodel.block.registers import State
from refmodel.block.transfer import Transfer
from refmodel.block.writer import Writer

NEVER = 1 << 62


def quiet_edges(state: State, gates: int) -> int:
    """Return how many edges are quiet if the inputs stay as at the last edge; `NEVER`: for ever.

    A slot is an input: without one a running transfer moves nothing.
    """
    if state.sync_equal != state.sync_equal_before:  # sync_found ends, and policy sync_view
        return 0
    return quiet_path_edges(state.transfer, gates)


def quiet_path_edges(transfer: Transfer, gates: int) -> int:
    """Return the same for the path between disk and memory."""
    if transfer.done:
        return 0
    if not transfer.write or not gates:
        return NEVER
    if transfer.fifo.used and not transfer.writer.active:
        return 0
    return _quiet_writer_edges(transfer.writer)


def after_quiet(state: State, edges: int) -> State:
    """Return the state after some of its quiet edges."""
    transfer = state.transfer
    if not transfer.writer.active:
        return state
    return replace(state, transfer=path_after_quiet(transfer, edges))


def path_after_quiet(transfer: Transfer, edges: int) -> Transfer:
    """Return the path after some of its quiet edges."""
    writer = transfer.writer
    if not writer.active:
        return transfer
    return transfer._replace(writer=writer._replace(tick=writer.tick + edges))


def does_nothing(transfer: Transfer) -> bool:
    """Return whether only a write of its register wakes the path: enable is off (B9)."""
    return not transfer.enable


def _quiet_writer_edges(writer: Writer) -> int:
    """Return how many edges count `tick` and change nothing else, `NEVER` when idle."""
    if not writer.active:
        return NEVER
    if writer.data:
        return 0
    if writer.gate and writer.tick < writer.pulse < writer.bit_cycles:
        return writer.pulse - writer.tick - 1
    return writer.bit_cycles - writer.tick - 1
