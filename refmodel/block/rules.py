"""The rules one register block goes by: its settings, resolved once into plain values."""

from __future__ import annotations

from dataclasses import dataclass

from refmodel.block.settings import ResetValues, Settings


@dataclass(frozen=True, slots=True)
class Rules:
    """The policies by their choices, and the numbers of a profile that `next_state` needs.

    `bit_cycles` is the time of a written channel bit at full speed. `status_lsb` is the lowest
    bit of each field of status, in the order of `FIELD_NAMES`.
    """

    sync_view: str
    realign: str
    ready_tie: str
    dma_active_means: str
    writing_means: str
    zero_length: str
    tail_lost_bits: int
    arming_writes: int
    fifo_words: int
    bit_cycles: int
    reset: ResetValues
    status_lsb: tuple[int, ...]

    @classmethod
    def of(cls, settings: Settings) -> Rules:
        """Return the rules of a profile's settings."""
        policies = settings.policies
        return cls(
            sync_view=policies.sync_view,
            realign=policies.realign,
            ready_tie=policies.ready_tie,
            dma_active_means=policies.dma_active_means,
            writing_means=policies.writing_means,
            zero_length=policies.zero_length,
            tail_lost_bits=int(policies.write_tail_lost_bits),
            arming_writes=settings.arming_writes,
            fifo_words=settings.fifo_words,
            bit_cycles=settings.cycles_per_written_bit,
            reset=settings.reset,
            status_lsb=tuple(field.lsb for field in settings.status.fields),
        )
