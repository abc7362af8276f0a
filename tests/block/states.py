"""Draws states, inputs and policies of a register block."""

from typing import get_args

from hypothesis import strategies as st

from refmodel.block.collector import Collector
from refmodel.block.fifo import Fifo
from refmodel.block.inputs import Inputs
from refmodel.block.registers import State
from refmodel.block.settings import Policies
from refmodel.block.transfer import Transfer
from refmodel.block.writer import IDLE, Writer

BIT = st.integers(0, 1)
WORD = st.integers(0, 0xFFFF)
POLICIES = st.builds(
    Policies,
    **{n: st.sampled_from(get_args(key.annotation)) for n, key in Policies.model_fields.items()},
)
INPUTS = st.builds(
    Inputs,
    reset=st.just(0) | BIT,
    bit_strobe=st.just(0) | BIT,
    bit=BIT,
    read_status=st.just(0) | BIT,
    write_sync_word=st.sampled_from((0, 0, 0xFF00, 0x00FF, 0xFFFF)),
    sync_word=WORD,
    dma_active=BIT,
    writing=BIT,
    wait_for_sync=BIT,
    write_transfer=st.just(0) | BIT,
    transfer=WORD,
    write_control=st.just(0) | BIT,
    control=WORD,
    master_enable=st.just(1) | BIT,
    channel_enable=st.just(1) | BIT,
    slot=BIT,
    slot_data=WORD,
)


@st.composite
def writers(draw):
    """Draw a serialiser in the middle of a write, its bit's time not over."""
    bit_cycles = draw(st.sampled_from((14, 28)))
    return Writer(
        active=1,
        bit=draw(st.integers(0, 17)),
        tick=draw(st.integers(0, bit_cycles - 1)),
        bit_cycles=bit_cycles,
        pulse=draw(st.integers(3, bit_cycles)),
        word=draw(WORD),
        recent=draw(st.integers(0, 31)),
        gate=draw(BIT),
    )


@st.composite
def transfers(draw):
    """Draw a transfer that can be: what is not armed with enable does nothing (B9)."""
    if not draw(st.just(1) | BIT):
        return Transfer(Fifo.empty(3), write_bit=draw(BIT), memory_index=draw(WORD))
    write, running = draw(BIT), draw(st.just(1) | BIT)
    waiting = draw(st.lists(WORD, max_size=3))
    return Transfer(
        Fifo(len(waiting), tuple(waiting + [0] * (3 - len(waiting)))),
        collector=Collector(*draw(st.sampled_from(((1, 0), (0, 0), (0, 15))))),
        writer=draw(writers() | st.just(IDLE)) if write else IDLE,
        armed=draw(BIT),
        enable=1,
        write_bit=draw(BIT),
        write=write,
        running=running,
        length=draw(st.integers(1, 3)) if running else 0,
        memory_index=draw(WORD),
        done=draw(st.just(0) | BIT),
        lost_words=draw(WORD),
        underruns=draw(WORD),
    )


@st.composite
def states(draw):
    """Draw a state the block can be in: sync_equal is the comparison of the two words."""
    window = draw(WORD)
    sync_word = draw(st.just(window) | WORD)
    equal = int(window == sync_word)
    return State(
        window=window,
        sync_word=sync_word,
        bit_count=draw(st.integers(0, 7)),
        data=draw(st.integers(0, 0xFF)),
        byte_ready=draw(BIT),
        clears_next=draw(st.just(0) | BIT),
        sync_equal=equal,
        sync_equal_before=draw(st.just(equal) | BIT),
        dma_active=draw(BIT),
        writing=draw(BIT),
        control=draw(st.integers(0, 31)),
        transfer=draw(transfers()),
    )
