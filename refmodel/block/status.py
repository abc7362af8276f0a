"""The status register as a host reads it: clauses B3 (view), B5 and B8."""

from __future__ import annotations

from refmodel.block.rules import Rules


def next_byte_ready(rules: Rules, byte_ready: int, byte_done: int, clears: int) -> int:
    """Return byte_ready after an edge (B5): a byte sets it, a read of status clears it."""
    if byte_done and clears:
        return 1 if rules.ready_tie == "set_wins" else 0  # policy ready_tie
    if byte_done:
        return 1
    if clears:
        return 0
    return byte_ready


def cleared(rules: Rules, read: int, read_before: int) -> tuple[int, int]:
    """Return whether byte_ready is cleared at an edge, and at the next one whatever comes (B5).

    `read` and `read_before` say whether status was read at this edge and at the one before.
    """
    if rules.read_clears == "edge_after":
        return read_before, read
    return read, 0


def pack(
    rules: Rules, byte_ready: int, dma_active: int, writing: int, sync_equal: int, data: int
) -> int:
    """Return the register word that shows these field values; unused bits read 0 (B8)."""
    ready_at, active_at, writing_at, equal_at, data_at = rules.status_lsb
    return (
        byte_ready << ready_at
        | dma_active << active_at
        | writing << writing_at
        | sync_equal << equal_at
        | data << data_at
    )
