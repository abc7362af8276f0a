"""A transfer through a whole span at once: clauses B6, B7, B9 to B11 and B15.

Between the edges that disturb it (a write of transfer, a change of the gates) a transfer runs by
itself, and long stretches of words are computed together (`reading`, `writing`). The disturbing
edges are stepped by the register block's own code.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from refmodel.block.collector import Collector
from refmodel.block.rules import Rules
from refmodel.block.transfer import Transfer, own_writing
from refmodel.engine.happened import behind_gates, doing_of
from refmodel.engine.quiet import does_nothing
from refmodel.engine.reading import read_words
from refmodel.engine.transfer_span import SHOWN, TransferSpan
from refmodel.engine.writing import write_words
from refmodel.ground.bus import WRITE_TRANSFER
from refmodel.ground.lane import Cycles, Lane
from refmodel.ground.moves import Moves
from refmodel.ground.stimulus import Stimulus


@dataclass(frozen=True)
class TransferRun:
    """What a transfer shows through a span, what it moved, and how it stands at the end.

    `shown` has the lanes of `SHOWN`, dma_active and writing being the block's own parts. `doing`
    and `word_ends` are as in `engine.happened`.
    """

    shown: dict[str, Lane]
    moves: Moves
    after: Transfer
    doing: Lane
    word_ends: Cycles


def at_rest(rules: Rules, stimulus: Stimulus, transfer: Transfer) -> TransferRun | None:
    """Return the run of a transfer that nothing starts, None if there is something to compute."""
    if not does_nothing(transfer) or any(stimulus.writes(WRITE_TRANSFER)):
        return None
    shown = {name: Lane.constant(0, stimulus.first) for name in SHOWN}
    shown["writing"] = Lane.constant(own_writing(rules, transfer), stimulus.first)
    shown["lost_words"] = Lane.constant(transfer.lost_words, stimulus.first)
    shown["underruns"] = Lane.constant(transfer.underruns, stimulus.first)
    doing = Lane.constant(doing_of(transfer), stimulus.first)
    return TransferRun(shown, Moves(), transfer, doing, np.empty(0, np.int64))


def run_transfer(span: TransferSpan, transfer: Transfer) -> TransferRun:
    """Return what a transfer does in the span, beginning as it stood before."""
    edges = span.disturbances()
    for edge, until in zip(edges, [*edges[1:], span.end], strict=True):
        transfer = span.step(transfer, edge)
        if edge + 1 < until:
            transfer = _undisturbed(span, transfer, edge + 1, until)
    shown = {name: changes.lane(span.end) for name, changes in span.shown.items()}
    doing = span.doing.lane(span.end)
    if span.rules.gates_stop == "path":
        doing = behind_gates(doing, span.gates_lane)
    return TransferRun(shown, span.moves(), transfer, doing, np.array(span.word_ends, np.int64))


def _undisturbed(span: TransferSpan, transfer: Transfer, first: int, until: int) -> Transfer:
    """Let a transfer run by itself at edges `first` .. `until - 1`."""
    if transfer.done:
        transfer = transfer._replace(done=0)
        span.shown["transfer_done"].add(first, 0)
    span.slots_open = bool(span.gates.at(first))
    if not span.slots_open and span.rules.gates_stop == "path":
        if not transfer.running:
            return transfer
        return transfer._replace(collector=Collector(waiting=span.waits.at(until - 1)))
    if transfer.write:
        return write_words(span, transfer, first, until)
    if transfer.running:
        return read_words(span, transfer, first, until)
    return transfer
