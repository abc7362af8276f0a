"""What of a run is not known yet: registers that reset leaves alone begin with anything (B14)."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import numpy as np

from refmodel.block.fields import Layout
from refmodel.engine.evidence import ALL_BITS, Observed, Reads
from refmodel.engine.timeline import Expected
from refmodel.ground.bus import WRITE_SYNC_WORD
from refmodel.ground.lane import Lane
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.word import WORD, WORD_BITS

COMPARED_WORDS = ("sync_equal", "sync_found")
READ = ("sync_equal", "data")  # what a read of status returns of them


class Settling:
    """Follows a run from its start to where each register has its first known value.

    The window has with its sixteenth channel bit, sync_word when both its bytes are written, data
    with the first byte. What shows them is left open up to there, `lag` cycles longer.
    """

    def __init__(self, leaves: Collection[str], lag: int) -> None:
        self._lag = lag
        self._bits = WORD_BITS if "window" in leaves else 0
        self._unwritten = WORD if "sync_word" in leaves else 0
        self._no_byte = "data" in leaves

    @property
    def over(self) -> bool:
        """Whether everything is known."""
        return not (self._bits or self._unwritten or self._no_byte)

    def leave_open(
        self,
        stimulus: Stimulus,
        expected: Expected,
        observed: Observed,
        reads: Reads,
        layout: Layout,
    ) -> tuple[Observed, Reads]:
        """Return a span's evidence with what is not known yet undecided."""
        known = self._follow(stimulus, expected)
        undecided = dict(observed.undecided)
        open_bits = np.zeros(len(reads.cycle), np.uint16)
        for name, cycle in known.items():
            until = np.array([stimulus.first, max(cycle, stimulus.first + 1)], np.int64)
            undecided[name] = Lane.of(until, np.array([ALL_BITS, 0], np.uint32))
            if name in READ:
                open_bits |= np.where(reads.cycle <= cycle, layout.mask_of(name), 0).astype(
                    np.uint16
                )
        if reads.undecided is not None:
            open_bits |= reads.undecided
        return replace(observed, undecided=undecided), replace(reads, undecided=open_bits)

    def _follow(self, stimulus: Stimulus, expected: Expected) -> dict[str, int]:
        """Return from which cycle of the span on each field is known that was not before it."""
        window, sync_word = self._window_known(stimulus), self._sync_word_known(stimulus)
        found = dict.fromkeys(COMPARED_WORDS, max(window, sync_word))
        found |= {"window": window, "sync_word": sync_word}
        found["data"] = self._data_known(stimulus, expected)
        return {name: cycle + self._lag for name, cycle in found.items() if cycle >= 0}

    def _window_known(self, stimulus: Stimulus) -> int:
        left, self._bits = self._bits, max(0, self._bits - len(stimulus.bit_cycle))
        if not left:
            return -1
        return stimulus.end if self._bits else int(stimulus.bit_cycle[left - 1])

    def _sync_word_known(self, stimulus: Stimulus) -> int:
        if not self._unwritten:
            return -1
        for edge, mask, _ in stimulus.writes(WRITE_SYNC_WORD):
            self._unwritten &= ~mask
            if not self._unwritten:
                return edge
        return stimulus.end

    def _data_known(self, stimulus: Stimulus, expected: Expected) -> int:
        if not self._no_byte:
            return -1
        ready = expected.lanes["byte_ready"]
        up = np.flatnonzero(ready.value)
        self._no_byte = not len(up)
        return stimulus.end if self._no_byte else int(ready.cycle[up[0]])
