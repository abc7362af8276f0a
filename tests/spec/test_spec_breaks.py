"""The examples catch a block that breaks a clause: each break fails an example of that clause."""

from dataclasses import replace
from typing import NamedTuple

import pytest

from refmodel.block.inputs import Inputs
from refmodel.block.registers import RegisterBlock, State
from refmodel.examples.page import SPEC, read_page
from refmodel.examples.play import play

PAGE = read_page(SPEC.read_text(encoding="utf-8"))


class Edge(NamedTuple):
    """One edge of the unbroken block: `sampled` at it and at the edge before, and the states."""

    earlier: Inputs
    sampled: Inputs
    before: State
    after: State

    @property
    def stops(self):
        """Whether transfer is written with enable clear."""
        return self.sampled.write_transfer and not self.sampled.transfer & 0x8000

    def path(self, **change):
        """Return the change of the transfer's path."""
        return {"transfer": self.after.transfer._replace(**change)}

    def writer(self, **change):
        """Return the change of the serialiser."""
        return self.path(writer=self.after.transfer.writer._replace(**change))

    @property
    def write_alone(self):
        """Whether sync_word is written between bits."""
        return self.sampled.write_sync_word and not self.sampled.bit_strobe


# Clause, what the broken block does, and the registers it gets wrong at an edge.
STATE_BREAKS = [
    (
        "B1",
        "shows the level of the edge before",
        lambda e: {"dma_active": e.earlier.dma_active},
    ),
    (
        "B2",
        "shifts in at the top",
        lambda e: (
            {"window": e.before.window >> 1 | e.sampled.bit << 15} if e.sampled.bit_strobe else {}
        ),
    ),
    (
        "B2",
        "repeats the last bit between bits",
        lambda e: {} if e.sampled.bit_strobe else {"window": e.before.window << 1 & 0xFFFF},
    ),
    (
        "B3",
        "latches sync_equal until a read",
        lambda e: {"sync_equal": 1} if e.before.sync_equal and not e.sampled.read_status else {},
    ),
    (
        "B3",
        "compares on channel bits alone",
        lambda e: {} if e.sampled.bit_strobe else {"sync_equal": e.before.sync_equal},
    ),
    (
        "B3",
        "compares a bit with sync_word from before the write",
        lambda e: (
            {"sync_equal": int(e.after.window == e.before.sync_word)}
            if e.sampled.bit_strobe
            else {}
        ),
    ),
    (
        "B3",
        "ignores the write of half a word",
        lambda e: (
            {"sync_word": e.before.sync_word} if e.sampled.write_sync_word in (0xFF00, 0xFF) else {}
        ),
    ),
    (
        "B4",
        "counts seven bits a byte",
        lambda e: {"bit_count": 7} if e.after.bit_count == 6 else {},
    ),
    (
        "B4",
        "realigns on a write between bits",
        lambda e: {"bit_count": 0} if e.write_alone and e.after.sync_equal else {},
    ),
    (
        "B4",
        "drops a byte that completes on the matching bit",
        lambda e: {"data": e.before.data, "byte_ready": 0} if e.after.sync_equal else {},
    ),
    (
        "B5",
        "never clears byte_ready",
        lambda e: {"byte_ready": e.before.byte_ready | e.after.byte_ready},
    ),
    (
        "B5",
        "clears byte_ready by itself",
        lambda e: {"byte_ready": 0} if e.before.byte_ready else {},
    ),
    (
        "B5",
        "keeps the first unread byte",
        lambda e: (
            {"data": e.before.data} if e.before.byte_ready and not e.sampled.read_status else {}
        ),
    ),
    ("B5", "takes data away with the read", lambda e: {"data": 0} if e.sampled.read_status else {}),
    ("B6", "ties dma_active to 0", lambda _: {"dma_active": 0}),
    (
        "B7",
        "shows writing only with dma_active",
        lambda e: {"writing": e.after.writing & e.after.dma_active},
    ),
    (
        "B9",
        "goes on after a stop",
        lambda e: {"transfer": e.before.transfer} if e.stops else {},
    ),
    (
        "B9",
        "keeps the words that wait when it stops",
        lambda e: e.path(fifo=e.before.transfer.fifo) if e.stops else {},
    ),
    (
        "B9",
        "forgets the first write on any other access",
        lambda e: e.path(armed=0) if e.sampled.read_status | e.sampled.write_control else {},
    ),
    (
        "B10",
        "stores the word that matches",
        lambda e: (
            e.path(fifo=e.after.transfer.fifo.push(e.after.window))
            if e.before.transfer.collector.waiting and e.after.sync_equal
            else {}
        ),
    ),
    (
        "B10",
        "holds transfer_done until the next write",
        lambda e: e.path(done=e.before.transfer.done | e.after.transfer.done),
    ),
    (
        "B10",
        "starts each transfer at place 0",
        lambda e: e.path(memory_index=0) if e.sampled.write_transfer else {},
    ),
    (
        "B11",
        "opens the gate one bit early",
        lambda e: e.writer(gate=1) if e.after.transfer.writer.bit == 1 else {},
    ),
    (
        "B11",
        "puts the pulse at the start of the bit",
        lambda e: e.writer(pulse=0) if e.after.transfer.writer.recent & 4 else {},
    ),
    (
        "B11",
        "does not count an underrun",
        lambda e: e.path(underruns=0),
    ),
    (
        "B13",
        "takes the write of control as it is",
        lambda e: {"control": e.sampled.control & 0x1F} if e.sampled.write_control else {},
    ),
    ("B13", "clears all bits", lambda e: {"control": 0} if e.sampled.control < 0x8000 else {}),
    (
        "B14",
        "takes a write during reset",
        lambda e: {"sync_word": e.sampled.sync_word} if e.sampled.write_sync_word else {},
    ),
    (
        "B14",
        "shows the levels during reset",
        lambda e: {"dma_active": e.sampled.dma_active},
    ),
    (
        "B14",
        "leaves byte_ready alone in reset",
        lambda e: {"byte_ready": e.before.byte_ready} if e.sampled.reset else {},
    ),
]
# Clause, what the broken block does, and the status word it shows for a state.
STATUS_BREAKS = [
    ("B8", "shows the comparator in bit 8, too", lambda s, word: word | s.sync_equal << 8),
    ("B8", "keeps data in the low byte", lambda s, word: word & 0xFF00 | s.data),
]


def breaking_state(change):
    """Return a block that gets the registers in `change` of each edge wrong."""

    class Broken(RegisterBlock):
        earlier = Inputs()

        def advance(self, inputs):
            before = self.state
            super().advance(inputs)
            edge, moved = Edge(self.earlier, inputs, before, self.state), self.moved
            self.earlier = inputs
            self.restore(replace(self.state, **change(edge)))
            self.moved = moved

    return Broken


def breaking_status(change):
    """Return a block that shows a state as `change` does."""

    class Broken(RegisterBlock):
        @property
        def status(self):
            return change(self.state, super().status)

    return Broken


def breaking_input(change):
    """Return a block that sees other inputs than there are."""

    class Broken(RegisterBlock):
        def advance(self, inputs):
            super().advance(replace(inputs, **change))

    return Broken


def breaking_profile(change):
    """Return a block built with other numbers than the profile's."""

    class Broken(RegisterBlock):
        def __init__(self, profile):
            super().__init__(profile.model_copy(update=change))

    return Broken


class LevelFound(RegisterBlock):
    """A block whose sync_found is the comparator's level."""

    @property
    def sync_found(self):
        """The level."""
        return self.state.sync_equal


# Clause, what the broken block does, and the block.
OTHER_BREAKS = [
    ("B9", "starts on the first write", breaking_profile({"arming_writes": 1})),
    ("B10", "has a place more in the FIFO", breaking_profile({"fifo_words": 2})),
    ("B11", "writes 10 cycles a bit", breaking_profile({"write_bit_cycles": 10})),
    ("B12", "holds sync_found as a level", LevelFound),
    ("B15", "does not look at master_enable", breaking_input({"master_enable": 1})),
    ("B15", "does not look at channel_enable", breaking_input({"channel_enable": 1})),
]

BREAKS = [(c, s, breaking_state(change)) for c, s, change in STATE_BREAKS]
BREAKS += [(c, s, breaking_status(change)) for c, s, change in STATUS_BREAKS]
BREAKS += OTHER_BREAKS


def test_each_clause_is_broken():
    """There is a break for every clause that has a statement."""
    assert {clause for clause, _, _ in BREAKS} == set(PAGE.clauses)


@pytest.mark.parametrize(
    ("clause", "block"), [(c, b) for c, _, b in BREAKS], ids=[f"{c} {s}" for c, s, _ in BREAKS]
)
def test_break_fails_an_example_of_its_clause(clause, block):
    """A block that breaks one clause differs from at least one example of this clause."""
    examples = [example for example in PAGE.examples.values() if example.clause == clause]
    assert [e.name for e in examples if play(e, block).differences]


@pytest.mark.parametrize(
    "block",
    [
        breaking_state(lambda _: {}),
        breaking_status(lambda _, word: word),
        breaking_input({}),
        breaking_profile({}),
    ],
    ids=["state", "status", "input", "profile"],
)
def test_unbroken_block_passes(block):
    """The wrappers that break blocks change nothing by themselves."""
    assert [e.name for e in PAGE.examples.values() if play(e, block).differences] == []
