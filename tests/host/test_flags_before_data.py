"""On a byte-wide bus whose data byte clears byte_ready, a host reads data after it saw the flag."""

import pytest

from refmodel.ground.bus import HIGH, LOW, READ_STATUS, READ_STATUS_PART, BusCycle, BusShape
from refmodel.host.processor import Processor
from refmodel.host.program import Read
from refmodel.profile import load_profile

PAL = load_profile("pal_dd")  # byte_ready is bit 15, data bits 7..0
DATA_CLEARS = BusShape(status=(HIGH, LOW), clears=LOW)
FLAGS_CLEAR = BusShape(status=(HIGH, LOW), clears=HIGH)


def processor(shape, seen, reads=3):
    """Return a processor whose program reads status and notes each word."""

    def program():
        for _ in range(reads):
            seen.append((yield Read("status", cost=10)).word)

    return Processor(program(), PAL, shape)


def test_without_the_flag_the_data_byte_is_not_read():
    """A read takes the flags alone while byte_ready is down, so that it clears nothing."""
    seen = []
    host = processor(DATA_CLEARS, seen)
    assert [BusCycle(10, READ_STATUS_PART, HIGH)] == host.pending
    host.complete([0x1000])
    assert [0x1000] == seen
    assert [BusCycle(20, READ_STATUS_PART, HIGH)] == host.pending


def test_with_the_flag_the_data_byte_is_read_next():
    """When the flags say there is a byte, it is read in the next cycle, and one word returned."""
    seen = []
    host = processor(DATA_CLEARS, seen)
    host.complete([0x9000])
    assert ([], [BusCycle(11, READ_STATUS, LOW)]) == (seen, host.pending)
    host.complete([0x00A1])
    assert [0x90A1] == seen
    assert 1 == host.accesses
    host.complete([0x0000])
    assert [0x90A1, 0x00A1] == seen  # the data of the last read


def test_where_the_flags_clear_both_bytes_are_read():
    """A bus whose flag byte clears byte_ready is read as two bytes in a row."""
    host = processor(FLAGS_CLEAR, [])
    assert [BusCycle(10, READ_STATUS, HIGH), BusCycle(11, READ_STATUS_PART, LOW)] == host.pending


@pytest.mark.rest
def test_a_core_whose_data_byte_clears_passes_the_checks(core):
    """A correct 8-bit core of that form is not condemned, whatever completes between its bytes."""
    from command import cellstep

    made = core("bytewide").bind(("clears_on: high", "clears_on: low"))
    made.change("byte_port.v", ("reads && place == STATUS_HIGH", "reads && place == STATUS_LOW"))
    words = ("--check", "transfer_flags", "--check", "short_track", "--seed", "1", "--seed", "2")
    options = ("--host-speed", "fast", "--drive-speed", "0", "--sim", "icarus")
    done = cellstep("protect", made.binding, *words, *options)
    assert 0 == done.returncode, done.stdout
    assert "8 runs of the core, every verdict right" in done.stdout
