"""Quiet edges: how long the block does nothing but count by itself. The one place that skips.

`next_state` computes every edge alike. What makes the model fast is here: with inputs that stay
as they were at the last edge, and nothing arriving, the edges up to the next event change no
more than the tick of the bit being written.
"""

from __future__ import annotations

from dataclasses import replace

from refmodel.block.collector import Collector
from refmodel.block.control import waits_for_sync
from refmodel.block.inputs import Inputs
from refmodel.block.registers import State
from refmodel.block.rules import Rules
from refmodel.block.transfer import Transfer
from refmodel.block.writer import Writer

NEVER = 1 << 62


def quiet_edges(rules: Rules, state: State, inputs: Inputs) -> int:
    """Return how many edges are quiet if the inputs stay as at the last edge; `NEVER`: for ever.

    A slot is an input: without one a running transfer moves nothing.
    """
    if state.sync_equal != state.sync_equal_before:  # sync_found ends, and policy sync_view
        return 0
    if state.clears_next:
        return 0
    transfer = state.transfer
    if inputs.gates or rules.gates_stop == "slots":
        return quiet_path_edges(transfer)
    waits = waits_for_sync(state.control, inputs.wait_for_sync)
    held = not transfer.running or transfer.collector == Collector(waiting=waits)
    return NEVER if held and not transfer.done else 0


def quiet_path_edges(transfer: Transfer) -> int:
    """Return the same for the path between disk and memory while no gate stops it."""
    if transfer.done:
        return 0
    if not transfer.write:
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
