"""The reference core's parameters that follow a profile's policies."""

from __future__ import annotations

from refmodel.block.settings import Policies

PARAMETERS = {  # policy: the parameter, and its number for each choice
    "sync_view": ("SYNC_VIEW", {"live": 0, "registered": 1}),
    "sync_compare": ("SYNC_COMPARE", {"always": 0, "at_bits": 1}),
    "same_edge_write": ("SAME_EDGE_WRITE", {"new": 0, "old": 1}),
    "realign": ("REALIGN", {"never": 0, "when_waiting": 1, "always": 2}),
    "matching_byte": ("MATCHING_BYTE", {"delivered": 0, "dropped": 1}),
    "ready_tie": ("READY_TIE", {"set_wins": 0, "clear_wins": 1}),
    "read_clears": ("READ_CLEARS", {"at_edge": 0, "edge_after": 1}),
    "dma_active_means": ("DMA_ACTIVE_MEANS", {"running": 0, "enabled": 1}),
    "writing_means": ("WRITING_MEANS", {"requested": 0, "gate_open": 1, "as_written": 2}),
    "start_acts": ("START_ACTS", {"same_edge": 0, "next_edge": 1}),
    "arming_counts": ("ARMING_COUNTS", {"afresh": 0, "from_last_enable": 1}),
    "length_loads": ("LENGTH_LOADS", {"accepted": 0, "every_write": 1}),
    "zero_length": ("ZERO_LENGTH", {"done_at_once": 0, "ignored": 1}),
    "fifo_forwarding": ("FIFO_FORWARDING", {"none": 0, "read": 1, "write": 2, "both": 3}),
    "write_tail_lost_bits": ("TAIL_LOST_BITS", {"0": 0, "3": 3}),
    "gates_stop": ("GATES_STOP", {"path": 0, "slots": 1}),
}


def parameters_of(policies: Policies) -> dict[str, int]:
    """Return the parameters with which the reference core behaves as these policies say."""
    return {name: number[getattr(policies, p)] for p, (name, number) in PARAMETERS.items()}
