"""Times of transfers on the two-wire bus, against those worked out of the published table.

From START to STOP a transfer takes hold_start + 9 n periods + low + setup_stop, with a repeated
START low + setup_start + hold_start more; UM10204, the I2C-bus specification and user manual, table
10 (100 and 400 kHz read in SCPS131J, 6.6; 1 MHz from memory).
"""

import pytest

from refmodel.drive.two_wire import TIMES, TwoWireTransfer, times_of
from refmodel.ground.errors import UserError

# transfer, clocks, and by speed: all clocks, START to STOP, until the next START; in us
PUBLISHED = [
    (TwoWireTransfer.write(1), 27, (270, 282.70, 287.40), (67.5, 70.00, 71.30), (27, 28.02, 28.52)),
    (TwoWireTransfer.write(2), 36, (360, 372.70, 377.40), (90, 92.50, 93.80), (36, 37.02, 37.52)),
    (TwoWireTransfer.read(1), 36, (360, 386.10, 390.80), (90, 95.00, 96.30), (36, 38.04, 38.54)),
    (
        TwoWireTransfer.read(2),
        45,
        (450, 476.10, 480.80),
        (112.5, 117.50, 118.80),
        (45, 47.04, 47.54),
    ),
    (
        TwoWireTransfer.read(2, with_register=False),
        27,
        (270, 282.70, 287.40),
        (67.5, 70.00, 71.30),
        (27, 28.02, 28.52),
    ),
]


@pytest.mark.parametrize(("transfer", "clocks", "slow", "fast", "fastest"), PUBLISHED)
def test_transfer_times(transfer, clocks, slow, fast, fastest):
    """Every transfer takes the published time at every speed, to the nanosecond."""
    assert clocks == transfer.clocks
    for hz, (bits, stop, free) in zip(TIMES, (slow, fast, fastest), strict=True):
        times = TIMES[hz]
        assert round(bits * 1000) == transfer.clocks * times.period
        assert round(stop * 1000) == transfer.duration(times)
        assert round(free * 1000) == transfer.occupies(times)


@pytest.mark.parametrize("hz", TIMES)
def test_a_clock_is_low_high_rise_and_fall(hz):
    """In each mode low, high, rise and fall add up to a period, to the nanosecond."""
    times = TIMES[hz]
    assert times.period == times.low + times.high + times.rise + times.fall


def test_bytes_are_acknowledged_in_order():
    """A data byte is acknowledged nine clocks after the one before; the last before STOP."""
    times = TIMES[400_000]
    write = TwoWireTransfer.write(2)
    assert 600 + 27 * 2500 == write.data_byte(times, 0)
    assert 9 * 2500 == write.data_byte(times, 1) - write.data_byte(times, 0)
    assert write.duration(times) == write.data_byte(times, 1) + 1300 + 600
    read = TwoWireTransfer.read(2)
    assert 600 + 27 * 2500 + 1300 + 600 + 600 == read.sampled(times, 0)
    assert read.sampled(times, 1) == read.data_byte(times, 0)


def test_an_unknown_speed():
    """A speed the table does not have is refused with those it has."""
    with pytest.raises(UserError, match=r"'3400000' Hz .* known: 100000, 400000, 1000000"):
        times_of(3_400_000)
