"""Times of a two-wire serial bus, and how long a transfer through a port expander takes on it.

The minimum times are those of UM10204, the I2C-bus specification and user manual, table 10, as
the data sheet SCPS131J (6.6) repeats them for 100 and 400 kHz; those of 1 MHz are from memory. A
transfer is counted from START to STOP; the edges of START and STOP are taken as short.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from refmodel.ground.errors import UserError

CLOCKS_PER_BYTE = 9  # eight bits and the acknowledge


@dataclass(frozen=True)
class BusTimes:
    """The times of one mode, in nanoseconds: least ones, and the longest of rise, fall, valid."""

    hz: int
    low: int
    high: int
    hold_start: int
    setup_start: int
    setup_stop: int
    bus_free: int
    setup_data: int
    hold_data: int
    rise: int
    fall: int
    valid: int

    @property
    def period(self) -> int:
        """Length of a clock, in nanoseconds."""
        return 1_000_000_000 // self.hz


TIMES = {
    times.hz: times
    for times in (
        BusTimes(100_000, 4700, 4000, 4000, 4700, 4000, 4700, 250, 0, 1000, 300, 3450),
        BusTimes(400_000, 1300, 600, 600, 600, 600, 1300, 100, 0, 300, 300, 900),
        BusTimes(1_000_000, 500, 260, 260, 260, 260, 500, 50, 0, 120, 120, 450),
    )
}


def times_of(hz: int) -> BusTimes:
    """Return the times of a speed; raise UserError for one the table does not have."""
    if hz not in TIMES:
        known = ", ".join(map(str, TIMES))
        raise UserError(f"'{hz}' Hz is not a speed in the table; known: {known}")
    return TIMES[hz]


@dataclass(frozen=True)
class TwoWireTransfer:
    """One transfer: bytes before the data (address, register, address again), and data bytes.

    With a repeated START the second address follows it.
    """

    head: int
    data: int
    restart: bool = False

    @classmethod
    def write(cls, data: int) -> TwoWireTransfer:
        """Return a write: address, register, data bytes."""
        return cls(2, data)

    @classmethod
    def read(cls, data: int, with_register: bool = True) -> TwoWireTransfer:
        """Return a read: address, register, repeated START, address, data; or without register."""
        return cls(3, data, restart=True) if with_register else cls(1, data)

    @property
    def clocks(self) -> int:
        """Clocks of all bytes."""
        return CLOCKS_PER_BYTE * (self.head + self.data)

    def acknowledged(self, times: BusTimes, byte: int) -> int:
        """Return the nanoseconds from START until the clock that acknowledges a byte has ended.

        Bytes count from 1; the data begin with byte `head + 1`.
        """
        after_restart = self.restart and byte > self.head - 1
        return (
            times.hold_start
            + CLOCKS_PER_BYTE * byte * times.period
            + (_restart(times) if after_restart else 0)
        )

    def data_byte(self, times: BusTimes, number: int) -> int:
        """Return the nanoseconds from START until data byte `number`, from 0, is acknowledged."""
        return self.acknowledged(times, self.head + number + 1)

    def sampled(self, times: BusTimes, number: int) -> int:
        """Return the nanoseconds from START until the inputs of a data byte are sampled.

        That is when the byte before it is acknowledged.
        """
        return self.acknowledged(times, self.head + number)

    def duration(self, times: BusTimes) -> int:
        """Return the nanoseconds from START to STOP."""
        return self.acknowledged(times, self.head + self.data) + times.low + times.setup_stop

    def occupies(self, times: BusTimes) -> int:
        """Return the nanoseconds from START until the next START may come."""
        return self.duration(times) + times.bus_free


def _restart(times: BusTimes) -> int:
    """Return what a repeated START adds, in nanoseconds."""
    return times.low + times.setup_start + times.hold_start


def microseconds(ns: int) -> Fraction:
    """Return nanoseconds in microseconds."""
    return Fraction(ns, 1000)
