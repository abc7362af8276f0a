"""A two-wire bus on the wire: its transfers read back, its times held against the published table.

A wire is a list of samples `(ns, scl, sda)`, one for each change, in order; the first says how it
begins. `check` names every time that is too short by its parameter, with what was measured.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

from refmodel.drive.two_wire import BusTimes

SPIKE_NS = 50  # shorter pulses are filtered out by every device on the bus (UM10204, table 10)


class Sample(NamedTuple):
    """What the wires are from `ns` on."""

    ns: float
    scl: int
    sda: int


@dataclass(frozen=True)
class WireFault:
    """A time that is too short, or something that must not be on the wire.

    `parameter` names the time as in `BusTimes`, or what was found; measured and required are in
    nanoseconds, where it is a time.
    """

    ns: float
    parameter: str
    measured: float
    required: float
    says: str

    @property
    def described(self) -> str:
        """The fault in one line."""
        return (
            f"{self.ns / 1000:.3f} us: {self.parameter}: {self.says}; measured"
            f" {self.measured:.6g}, required {self.required:.6g}"
        )


@dataclass
class Message:
    """One transfer from START to STOP or repeated START: bytes, and which were acknowledged."""

    ns: float
    bytes: list[int] = field(default_factory=list)
    acknowledged: list[bool] = field(default_factory=list)
    restarted: bool = False
    stopped: bool = False

    @property
    def address(self) -> int:
        """The address of the transfer, -1 for none."""
        return self.bytes[0] >> 1 if self.bytes else -1

    @property
    def reads(self) -> bool:
        """Whether it reads."""
        return bool(self.bytes) and bool(self.bytes[0] & 1)

    @property
    def data(self) -> list[int]:
        """The bytes behind the address."""
        return self.bytes[1:]


SAYS = {
    "low": "SCL is low for a shorter time than devices need",
    "high": "SCL is high for a shorter time than devices need",
    "period": "the clock is faster than the mode allows",
    "hold_start": "SCL falls too soon after a START",
    "setup_start": "SDA falls too soon for a repeated START after SCL rose",
    "setup_stop": "SDA rises too soon for a STOP after SCL rose",
    "bus_free": "a START follows too soon after a STOP",
    "setup_data": "SDA changes too shortly before SCL rises",
    "hold_data": "SDA changes before SCL has fallen",
    "spike": "a pulse is shorter than the filters of the devices let through",
    "acknowledge": "a byte that must be acknowledged is not",
    "address": "a write goes to an address at which the expander is not",
    "stretch": "another device holds SCL low",
    "unfinished": "a transfer ends within a byte",
}


def check(
    samples: Sequence[Sample], times: BusTimes, address: int | None = None
) -> list[WireFault]:
    """Return every fault on the wire in order; with an address, also writes that go elsewhere."""
    found = [*_Checker(times).run(samples), *_spikes(samples), *_messages(samples, address)]
    return sorted(found, key=lambda fault: fault.ns)


def _fault(ns: float, parameter: str, measured: float, required: float) -> WireFault:
    return WireFault(ns, parameter, measured, required, SAYS[parameter])


class _Checker:
    """Holds each edge against the edges before it."""

    def __init__(self, times: BusTimes) -> None:
        self._times = times
        self._rose = self._fell = self._data = -1e18  # when SCL rose, SCL fell, SDA changed
        self._start = self._stop = self._last_rise = -1e18
        self._busy = False

    def run(self, samples: Sequence[Sample]) -> Iterator[WireFault]:
        """Yield the faults of a wire."""
        for before, now in pairwise(samples):
            if before.sda != now.sda and before.scl and now.scl:
                yield from self._condition(now)
            elif before.sda != now.sda and before.scl != now.scl and before.scl:
                yield _fault(now.ns, "hold_data", 0, 1)  # both at once: which came first?
            if before.sda != now.sda:
                self._data = now.ns
            if now.scl > before.scl:
                yield from self._rises(now)
            elif now.scl < before.scl:
                yield from self._falls(now)

    def _condition(self, now: Sample) -> Iterator[WireFault]:
        """Judge a START (SDA falls while SCL is high) or a STOP (it rises)."""
        if now.sda:
            yield from self._least(now, "setup_stop", self._rose)
            self._stop, self._busy = now.ns, False
            return
        if self._busy:
            yield from self._least(now, "setup_start", self._rose)
        else:
            yield from self._least(now, "bus_free", self._stop)
        self._start, self._busy, self._last_rise = now.ns, True, -1e18

    def _rises(self, now: Sample) -> Iterator[WireFault]:
        """Judge a rise of SCL: the low before it, the data before it, the clock."""
        yield from self._least(now, "low", self._fell)
        yield from self._least(now, "setup_data", self._data)
        passed = now.ns - self._last_rise
        if passed < self._times.period - 0.5:
            yield _fault(now.ns, "period", passed, self._times.period)
        self._rose = self._last_rise = now.ns

    def _falls(self, now: Sample) -> Iterator[WireFault]:
        """Judge a fall of SCL: the high before it, or the START."""
        if self._start > self._rose:
            yield from self._least(now, "hold_start", self._start)
        else:
            yield from self._least(now, "high", self._rose)
        self._fell = now.ns

    def _least(self, now: Sample, parameter: str, since: float) -> Iterator[WireFault]:
        required = getattr(self._times, parameter)
        if now.ns - since < required:
            yield _fault(now.ns, parameter, now.ns - since, required)


def _spikes(samples: Sequence[Sample]) -> Iterator[WireFault]:
    """Yield the pulses on either wire that a device's filter swallows."""
    for wire in ("scl", "sda"):
        edges = [
            now.ns
            for before, now in pairwise(samples)
            if getattr(before, wire) != getattr(now, wire)
        ]
        for first, then in pairwise(edges):
            if then - first < SPIKE_NS:
                yield _fault(first, "spike", then - first, SPIKE_NS)


def _messages(samples: Sequence[Sample], address: int | None) -> Iterator[WireFault]:
    """Yield missing acknowledges, transfers that end within a byte, writes to nobody's address."""
    for message in decode(samples):
        last = len(message.acknowledged) - 1
        for n, acknowledged in enumerate(message.acknowledged):
            if not acknowledged and not (message.reads and n == last > 0):
                yield _fault(message.ns, "acknowledge", 0, 1)
        if message.bytes and not message.reads and address not in (None, message.address):
            yield _fault(message.ns, "address", message.address, address or 0)
        if not message.stopped and not message.restarted:
            yield _fault(message.ns, "unfinished", 0, 1)


def stretches(
    pulls: Sequence[tuple[float, int]], samples: Sequence[Sample], times: BusTimes
) -> list[WireFault]:
    """Return where SCL stayed low after the controller let go of it: another device held it.

    `pulls` has when the controller pulled SCL low (1) and let go (0), in nanoseconds. A wire may
    take the rise time of the mode to follow.
    """
    found = []
    rises = [now.ns for before, now in pairwise(samples) if now.scl > before.scl]
    for ns, pulled in pulls:
        at = bisect_left(rises, ns)
        if not pulled and at < len(rises) and rises[at] - ns > times.rise:
            found.append(_fault(ns, "stretch", rises[at] - ns, times.rise))
    return found


def decode(samples: Sequence[Sample]) -> list[Message]:
    """Return the transfers on a wire: bytes at each ninth rise of SCL, START to STOP."""
    messages: list[Message] = []
    bits: list[int] = []
    open_message: Message | None = None
    for before, now in pairwise(samples):
        if before.scl and now.scl and before.sda != now.sda:
            if open_message is not None:
                open_message.restarted, open_message.stopped = not now.sda, bool(now.sda)
            open_message = None
            bits = []
            if not now.sda:
                open_message = Message(now.ns)
                messages.append(open_message)
        elif open_message is not None and now.scl > before.scl:
            bits.append(now.sda)
            if len(bits) == 9:
                open_message.bytes.append(int("".join(map(str, bits[:8])), 2))
                open_message.acknowledged.append(not bits[8])
                bits = []
    return messages
