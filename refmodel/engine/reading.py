"""The words of a read transfer, many at once: clause B10."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

import numpy as np

from refmodel.block.arming import LENGTH
from refmodel.block.collector import Collector
from refmodel.block.fifo import Fifo
from refmodel.block.transfer import READ_SEES_THE_SLOT, Transfer
from refmodel.engine.framing import counted_ends
from refmodel.engine.happened import READING
from refmodel.engine.transfer_span import TransferSpan
from refmodel.ground.word import WORD, WORD_BITS


@dataclass
class Queue:
    """The words that pass through the FIFO: when and whether each is stored.

    `stores[i]` is the slot that stores `words[i]` if the transfer runs that long. `lost` has the
    edges of the words that found the FIFO full.
    """

    words: list[int]
    stores: list[int]
    lost: list[int]


def read_words(span: TransferSpan, transfer: Transfer, first: int, until: int) -> Transfer:
    """Let a running read transfer go on at edges `first` .. `until - 1`, both gates on."""
    bits = CollectedBits(span, transfer.collector, first, until)
    queue = _queue(span, transfer, first, bits)
    to_go = span.to_go(transfer)
    moved = min(bisect_left(queue.stores, until), to_go)
    span.stored(queue.stores[:moved], transfer.memory_index, queue.words[:moved])
    for n, edge in enumerate(queue.lost, transfer.lost_words + 1):
        span.shown["lost_words"].add(edge, min(n, WORD))
    ended = moved == to_go
    stop = queue.stores[moved - 1] if ended else until
    after = transfer._replace(
        fifo=Fifo.of(queue.words[moved:], len(transfer.fifo.words)),
        collector=bits.collector_at(stop + 1 if ended and not _sees_slot(span) else stop),
        running=0 if ended else 1,
        length=to_go - moved & LENGTH,
        memory_index=transfer.memory_index + moved,
        done=1 if ended and stop == until - 1 else 0,
        lost_words=min(transfer.lost_words + len(queue.lost), WORD),
    )
    if ended:
        span.ended(stop, after)
    return after


class CollectedBits:
    """The channel bits of a stretch, and the words they complete while the transfer runs."""

    def __init__(self, span: TransferSpan, collector: Collector, first: int, until: int) -> None:
        self._cycle = span.bit_cycle
        self._framing = span.framing
        self._before = collector
        self._matched = False
        self._begin, end = np.searchsorted(self._cycle, (first, until)).tolist()
        if collector.waiting:
            found = np.flatnonzero(self._framing.match[self._begin : end])
            self._begin = self._begin + int(found[0]) + 1 if len(found) else end
            self._matched = bool(len(found))
            if self._matched:
                span.doing.add(int(self._cycle[self._begin - 1]), READING)
        ends, _ = counted_ends(self._framing.restart[self._begin : end], collector.bits, WORD_BITS)
        self.ends = self._cycle[self._begin + ends].tolist()
        self.words = self._framing.window[self._begin + ends].tolist()

    def collector_at(self, stop: int) -> Collector:
        """Return the collector when the edges before `stop` have passed."""
        end = int(np.searchsorted(self._cycle, stop))
        if self._before.waiting and (end < self._begin or not self._matched):
            return self._before
        restart = self._framing.restart[self._begin : end]
        return Collector(bits=counted_ends(restart, self._before.bits, WORD_BITS)[1])


def _sees_slot(span: TransferSpan) -> bool:
    """Return whether a bit sees what the slot of its own edge has done (policy fifo_forwarding)."""
    return span.rules.fifo_forwarding in READ_SEES_THE_SLOT


def _queue(span: TransferSpan, transfer: Transfer, first: int, bits: CollectedBits) -> Queue:
    """Pass the words that wait and those that complete through the FIFO."""
    size, length = len(transfer.fifo.words), span.to_go(transfer)
    words = list(transfer.fifo.waiting)
    stores: list[int] = []
    lost: list[int] = []
    free = first  # the first edge whose slot has no word yet
    for _ in words:
        stores.append(span.next_slot(free))
        free = stores[-1] + 1
    behind = 0 if _sees_slot(span) else 1  # a bit sees a slot so many edges after its own
    for edge, word in zip(bits.ends, bits.words, strict=True):
        if len(stores) >= length and stores[length - 1] + behind <= edge:
            break  # the transfer has ended
        span.word_ends.append(edge)
        if len(stores) >= size and stores[-size] + behind > edge:
            lost.append(edge)
            continue
        stores.append(span.next_slot(max(free, edge + 1)))
        free = stores[-1] + 1
        words.append(word)
    return Queue(words, stores, lost)
