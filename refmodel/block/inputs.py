"""What the register block samples at an edge."""

from __future__ import annotations

from dataclasses import dataclass


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
