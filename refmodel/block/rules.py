"""The rules one register block goes by: its settings, resolved once into plain values."""

from __future__ import annotations

from dataclasses import dataclass

from refmodel.block.settings import ResetValues, Settings


@dataclass(frozen=True, slots=True)
class Rules:
    """The policies by their choices, and the numbers of a profile that `next_state` needs.

    `bit_cycles` is the time of a written channel bit at full speed. `status_lsb` is the lowest
    bit of each field of status, in the order of `FIELD_NAMES`. `control_there` has the bits of
    control that a write reaches.
    """

    sync_view: str
    sync_compare: str
    same_edge_write: str
    realign: str
    matching_byte: str
    ready_tie: str
    read_clears: str
    dma_active_means: str
    writing_means: str
    start_acts: str
    arming_counts: str
    length_loads: str
    zero_length: str
    fifo_forwarding: str
    write_tail_lost_bits: str
    gates_stop: str
    arming_writes: int
    fifo_words: int
    bit_cycles: int
    reset: ResetValues
    reset_leaves: tuple[str, ...]
    status_lsb: tuple[int, ...]
    control_there: int

    @classmethod
    def of(cls, settings: Settings) -> Rules:
        """Return the rules of a profile's settings."""
        return cls(
            **settings.policies.model_dump(),
            arming_writes=settings.arming_writes,
            fifo_words=settings.fifo_words,
            bit_cycles=settings.cycles_per_written_bit,
            reset=settings.reset,
            reset_leaves=tuple(settings.reset_leaves),
            status_lsb=tuple(field.lsb for field in settings.status.fields),
            control_there=settings.control_there,
        )

    @property
    def tail_lost_bits(self) -> int:
        """How many bit times too early the write gate closes (B11)."""
        return 3 if self.write_tail_lost_bits == "3" else 0
