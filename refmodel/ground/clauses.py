"""The clauses of SPEC.md: what each number stands for, and which clause each output belongs to.

The one table of clauses: fields, causes, reports, pages and the catalogue of defects take theirs
from here, and the tests hold SPEC.md against it.
"""

from __future__ import annotations

from typing import NamedTuple


class Clause(NamedTuple):
    """One clause: its title in SPEC.md, and what it says in one sentence, as reports cite it."""

    title: str
    says: str


CLAUSES = {
    "B1": Clause("Time", "state moves only at a cycle's edge, where inputs are sampled"),
    "B2": Clause("Window", "at most one channel bit a cycle enters the window, at bit 0"),
    "B3": Clause("sync_equal", "sync_equal is 1 exactly while the window equals sync_word"),
    "B4": Clause(
        "Framing", "each eighth channel bit completes a byte; a match may restart the count"
    ),
    "B5": Clause(
        "byte_ready",
        "a completed byte sets byte_ready, a read of status clears it and returns it as it was",
    ),
    "B6": Clause("dma_active", "dma_active shows an active transfer"),
    "B7": Clause("writing", "writing shows a transfer that writes to the disk"),
    "B8": Clause("Unused status bits", "status bits that belong to no field read 0"),
    "B9": Clause(
        "transfer", "a transfer starts after arming_writes writes in a row with enable set"
    ),
    "B10": Clause(
        "Read transfer",
        "a read transfer stores each word in granted slots, after a match if it waits for one",
    ),
    "B11": Clause(
        "Write transfer",
        "a write transfer writes each word from memory, most significant bit first",
    ),
    "B12": Clause(
        "Pulses", "sync_found pulses on the rise of sync_equal, transfer_done at the last word"
    ),
    "B13": Clause("control", "control sets or clears the bits written as 1, as its top bit says"),
    "B14": Clause(
        "Reset", "reset gives every register its reset value, and no bit is ever unknown"
    ),
    "B15": Clause(
        "Gates", "both enables gate the transfer; dropping one stops it and keeps the FIFO"
    ),
}

CLAUSE_OF = {  # each output, register inside and diagnostic counter: the clause that states it
    "byte_ready": "B5",
    "dma_active": "B6",
    "writing": "B7",
    "sync_equal": "B3",
    "data": "B4",
    "unused": "B8",
    "write_gate": "B11",
    "write_data": "B11",
    "sync_found": "B12",
    "transfer_done": "B12",
    "memory": "B10",
    "lost_words": "B10",
    "underruns": "B11",
    "window": "B2",
    "sync_word": "B3",
    "bit_count": "B4",
    "control": "B13",
    "enable": "B9",
    "write": "B9",
    "length": "B9",
    "set": "B13",
    "precompensation": "B11",
    "top_bit_framing": "B13",
    "slow_bits": "B13",
    "wait_for_sync": "B10",
}
SEPARATOR = "separator"  # stands in a clause's place for what a core's own separator delivers
SEPARATOR_SAYS = "the core's separator delivers each channel bit in the cycle its model does"


def says(clause: str) -> str:
    """Return what a clause says in one sentence; empty for none of them."""
    if clause == SEPARATOR:
        return SEPARATOR_SAYS
    return CLAUSES[clause].says if clause in CLAUSES else ""
