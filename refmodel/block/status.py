"""The status register as a host reads it: clauses B3 (view), B5 and B8."""

from __future__ import annotations

from refmodel.block.fields import Layout


def next_byte_ready(byte_ready: int, byte_done: bool, read: int, set_wins: bool) -> int:
    """Return byte_ready after an edge (B5): a byte sets it, a read of status clears it."""
    if byte_done and read:
        return 1 if set_wins else 0  # policy ready_tie
    if byte_done:
        return 1
    if read:
        return 0
    return byte_ready


class StatusWord:
    """Packs the fields into the register word; unused bits read 0 (B8)."""

    def __init__(self, layout: Layout) -> None:
        self._byte_ready = layout["byte_ready"].lsb
        self._dma_active = layout["dma_active"].lsb
        self._writing = layout["writing"].lsb
        self._sync_equal = layout["sync_equal"].lsb
        self._data = layout["data"].lsb

    def pack(
        self, byte_ready: int, dma_active: int, writing: int, sync_equal: int, data: int
    ) -> int:
        """Return the register word that shows these field values."""
        return (
            byte_ready << self._byte_ready
            | dma_active << self._dma_active
            | writing << self._writing
            | sync_equal << self._sync_equal
            | data << self._data
        )
