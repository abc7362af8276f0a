"""A host begins no bus cycle that a reset would cut short; what is left of one no model knows."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refmodel.ground.bus import HIGH, LOW, BusShape
from refmodel.host.machine import Machine, Timing
from refmodel.host.processor import Processor
from refmodel.host.program import Read, Write
from refmodel.profile import load_profile

PAL = load_profile("pal_dd")
DEEP = BusShape(read_latency=2, read_lasts=2, write_lasts=2)
HELD = BusShape(hold=3, idle=1, read_latency=2, read_lasts=2, write_lasts=3, whole=True)


def begun(shape, resets, accesses, timing=None):
    """Return the bus cycles of some accesses, made while the core is reset now and then."""
    program = (access for access in accesses)
    machine = Machine(timing or Timing(), resets=resets)
    processor, found = Processor(program, PAL, shape, machine=machine), []
    while processor.pending:
        found += processor.pending
        processor.complete([0] * len(processor.pending))
    return found


@pytest.mark.parametrize(
    ("shape", "reset", "cycle"),
    [
        (BusShape(), (10, 11), 10),  # over at once: reset and access may meet
        (DEEP, (10, 11), 11),  # begins in the reset
        (DEEP, (11, 12), 12),  # the reset ends while it is on its way
        (DEEP, (12, 13), 10),  # the reset is there when it counts, and still is behind it
        (DEEP, (11, 20), 10),  # and so is one that lasts
        (DEEP, (13, 14), 10),
        (HELD, (10, 11), 11),
        (HELD, (12, 13), 13),
        (HELD, (12, 40), 40),  # held strobes meet no reset at all
        (HELD, (13, 14), 10),
        (HELD, (8, 10), 10),
    ],
)
def test_access_waits_for_the_end_of_a_reset(shape, reset, cycle):
    """An access at cycle 10 begins there, or as the reset that would cut it short is over."""
    (read,) = begun(shape, (reset,), [Read("status", 10)])
    assert cycle == read.cycle


def test_access_behind_a_reset_keeps_to_the_hosts_timing():
    """It waits for a cycle in which the host gets onto the bus."""
    (write,) = begun(HELD, ((12, 21),), [Write("sync_word", 1, 12)], Timing(align=4))
    assert 24 == write.cycle


spans = st.lists(st.tuples(st.integers(1, 20), st.integers(1, 9)), max_size=12)
shapes = st.builds(
    BusShape,
    status=st.sampled_from([(0xFFFF,), (HIGH, LOW)]),
    clears=st.sampled_from([0xFFFF, HIGH, LOW]),
    hold=st.integers(1, 4),
    idle=st.integers(0, 2),
    read_lasts=st.integers(0, 5),
    write_lasts=st.integers(0, 5),
    whole=st.booleans(),
)


@given(shapes, spans, st.lists(st.tuples(st.booleans(), st.integers(1, 9)), max_size=20))
def test_no_bus_cycle_is_cut(shape, gaps, accesses):
    """However resets and accesses lie, none is cut short, and none is left out."""
    resets, now = [], 0
    for gap, cycles in gaps:
        resets.append((now + gap, now + gap + cycles))
        now += gap + cycles
    made = [
        Read("status", cost) if read else Write("sync_word", 7, cost) for read, cost in accesses
    ]
    found = begun(shape, tuple(resets), made)
    assert len(found) >= len(made)
    assert not [b for b in found for start, stop in resets if shape.cut(b, start, stop)]


@pytest.mark.parametrize(
    ("reset", "first"),
    [((10, 12), 12), ((5, 13), 13), ((12, 13), 13), ((13, 14), 12), ((13, 20), 12), ((3, 12), 12)],
)
@pytest.mark.parametrize("register", ["transfer", "control"])
def test_no_reset_ends_between_two_bytes(register, reset, first):
    """What holds the high byte of a write may be reset, so both bytes come behind such a reset."""
    shape = BusShape(**{register: (HIGH, LOW)})

    def program():
        yield Write(register, 0x8003, 12)

    machine = Machine(resets=(reset,))
    processor = Processor(program(), PAL, shape, machine=machine)
    assert [b.cycle for b in processor.pending] == [first, first + 1]
