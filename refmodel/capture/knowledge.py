"""What a capture that begins in the middle cannot tell at first: the state it does not show.

The window is known once 16 channel bits have passed, the byte count from what the capture shows,
sync_word once it is written, a transfer once it is stopped; a reset tells everything.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

import numpy as np

from refmodel.block.fields import FIELD_NAMES, UNUSED, Layout
from refmodel.block.registers import RegisterBlock, State
from refmodel.capture.capture_map import LINES, CaptureMap
from refmodel.capture.recorded_run import RunSpan
from refmodel.engine.evidence import ALL_BITS, Observed, Reads
from refmodel.ground.bus import WRITE_SYNC_WORD, WRITE_TRANSFER
from refmodel.ground.lane import Lane
from refmodel.ground.moves import Moves
from refmodel.ground.stimulus import Stimulus
from refmodel.ground.word import WORD
from refmodel.profile import Profile

NOT_YET = 1 << 62
FIRST_BITS = 32  # channel bits after which the window is known and a byte has been completed
LOCK_BITS = 1024  # channel bits more that a separator may need to lock on
BY_SYNC = ("sync_equal", "sync_found")
BY_BITS = ("byte_ready", "data", *BY_SYNC)
BY_TRANSFER = ("dma_active", "writing", "write_gate", "write_data", "transfer_done")
WHY = {
    "bits": "the byte count is not known before {0} channel bits have passed",
    "sync": "sync_word is not known before it is written; begin.sync_word can say it",
    "transfer": "a transfer is not known before one is stopped; begin.stopped can say it",
}


class Knowledge:
    """Marks in the spans of one run what is not known yet."""

    def __init__(self, given: CaptureMap, layout: Layout) -> None:
        self._map = given
        self._layout = layout
        self._bits = 0
        self._least_bits = FIRST_BITS + (LOCK_BITS if given.disk.flux is not None else 0)
        self._written = 0 if given.begin.sync_word is None else WORD
        self._from = {"bits": NOT_YET, "sync": NOT_YET, "transfer": NOT_YET}
        if given.begin.sync_word is not None:
            self._from["sync"] = -1
        if not given.own_transfers or given.begin.stopped:
            self._from["transfer"] = -1
        self._first: int | None = None
        self._lost_moves = 0  # words moved before a transfer was known
        self.cycles: dict[str, int] = {}  # of each reason: cycles in which it holds

    def marked(self, spans: Iterable[RunSpan]) -> Iterator[RunSpan]:
        """Yield the spans with what is not known marked as undecided."""
        for span in spans:
            self._learn(span.stimulus)
            yield self._known_moves(self._mark(span))

    def _learn(self, stimulus: Stimulus) -> None:
        """Note from when on each thing is known."""
        if self._first is None:
            self._first = stimulus.first
        known = self._from
        if stimulus.resets:
            since = stimulus.resets[0][0]
            for name, at in known.items():
                known[name] = min(at, since)
        if known["sync"] == NOT_YET:
            self._learn_sync_word(stimulus)
        if known["transfer"] == NOT_YET:
            stops = stimulus.access_kind == WRITE_TRANSFER
            stops &= (stimulus.access_value & np.uint16(0x8000)) == 0
            if stops.any():
                known["transfer"] = int(stimulus.access_cycle[stops][0]) + 1
        bits = len(stimulus.bit_cycle)
        missing = self._least_bits - self._bits
        if known["bits"] == NOT_YET and bits >= missing:
            known["bits"] = int(stimulus.bit_cycle[missing - 1]) + 1
        self._bits += bits

    def _learn_sync_word(self, stimulus: Stimulus) -> None:
        writes = np.flatnonzero(stimulus.access_kind == WRITE_SYNC_WORD)
        for at in writes.tolist():
            self._written |= int(stimulus.access_mask[at])
            if self._written == WORD:
                self._from["sync"] = int(stimulus.access_cycle[at]) + 1
                return

    def _since(self) -> dict[str, int]:
        """Return from which cycle on each field and line is known."""
        bits, sync, transfer = (self._from[n] for n in ("bits", "sync", "transfer"))
        since = dict.fromkeys((*FIELD_NAMES, UNUSED, *LINES), -1)
        since |= dict.fromkeys(BY_BITS, max(bits, sync))
        since |= dict.fromkeys(BY_TRANSFER, transfer)
        return since

    def _mark(self, span: RunSpan) -> RunSpan:
        """Return a span with what is not known in it marked."""
        since = self._since()
        first, end = span.stimulus.first, span.stimulus.end
        for reason, at in self._from.items():
            unknown = min(max(at, first), end) - first
            if unknown:
                self.cycles[reason] = self.cycles.get(reason, 0) + unknown
        if max(since.values()) <= first:
            return span
        undecided = dict(span.observed.undecided)
        for name in span.observed.lanes:
            at = min(since.get(name, -1), end)
            if at > first:
                undecided[name] = _until(undecided.get(name), first, at, end)
        observed = Observed(span.observed.lanes, span.observed.unknown, undecided)
        return replace(span, observed=observed, reads=self._mark_reads(span.reads, since))

    def _known_moves(self, span: RunSpan) -> RunSpan:
        """Return a span with the words moved that belong to a known transfer, counted from them."""
        if span.moved is None:
            return span
        moves, unknown = span.moved
        kept = np.flatnonzero(moves.cycle >= self._from["transfer"])
        self._lost_moves += len(moves) - len(kept)
        part = (moves.cycle[kept], moves.place[kept] - self._lost_moves, moves.word[kept])
        moved = Moves(*part, moves.store[kept]), unknown[kept]
        stimulus = replace(span.stimulus, memory=span.stimulus.memory[self._lost_moves :])
        return replace(span, moved=moved, stimulus=stimulus)

    def _mark_reads(self, reads: Reads, since: Mapping[str, int]) -> Reads:
        """Return reads with the bits not known before them marked."""
        undecided = np.zeros(len(reads.cycle), np.uint16)
        if reads.undecided is not None:
            undecided |= reads.undecided
        for name in (*FIELD_NAMES, UNUSED):
            early = reads.cycle - 1 < since[name]
            undecided[early] |= np.uint16(self._layout.mask_of(name))
        return replace(reads, undecided=undecided)

    def reasons(self) -> Iterator[str]:
        """Yield why cycles were not decided, and how many."""
        for name, cycles in self.cycles.items():
            yield f"{cycles} cycles: {WHY[name].format(self._least_bits)}"


def _until(held: Lane | None, first: int, at: int, end: int) -> Lane:
    """Return a lane of undecided bits that has all of them before cycle `at`."""
    before = Lane.constant(ALL_BITS, first)
    if at >= end:
        return before
    if held is None:
        return Lane.of(np.array([first, at]), np.array([ALL_BITS, 0], np.uint32))
    return before.then(held.between(at, end)) if at > first else held


def begin_state(given: CaptureMap, profile: Profile, bit_count: int) -> State:
    """Return the model's state where a capture begins in the middle."""
    state = RegisterBlock(profile).state
    begin = given.begin
    sync_word = state.sync_word if begin.sync_word is None else begin.sync_word
    return replace(state, sync_word=sync_word, control=begin.control, bit_count=bit_count)
