"""The two-wire bus on the wire: read back, checked, and decoded by a decoder from outside.

The wire is made here edge by edge from the published least times (UM10204, table 10).
"""

import io
import os
import shutil
import subprocess
from dataclasses import replace

import pytest
from vcd import VCDWriter

from refmodel.drive.expander import Expander
from refmodel.drive.two_wire import TIMES, TwoWireTransfer
from refmodel.drive.wire import SAYS, Sample, check, decode


class Maker:
    """Makes a wire edge by edge, `times` apart, with an expander that answers if given."""

    def __init__(self, times, target=None):
        self.times, self.target = times, target
        self.high = times.period - times.low
        self.ns, self.scl, self.sda, self.pull = 10_000, 1, 1, 0
        self.samples = [Sample(0, 1, 1)]

    def put(self, scl=None, sda=None, after=0):
        """Change the wires some time after the last change."""
        self.ns += after
        self.scl = self.scl if scl is None else scl
        self.sda = self.sda if sda is None else sda
        while True:
            self._sample()
            pull = self.target.edge(self.scl, self._wire()) if self.target else 0
            if pull == self.pull:
                return
            self.pull = pull

    def _wire(self):
        return self.sda & (1 - self.pull)

    def _sample(self):
        new = Sample(self.ns, self.scl, self._wire())
        if (new.scl, new.sda) != self.samples[-1][1:]:
            if new.ns == self.samples[-1].ns:  # a target takes its time
                new = new._replace(ns=self.ns + 1)
            self.samples.append(new)

    def start(self):
        """Make a START, a repeated one if the bus is busy."""
        times = self.times
        if not self.scl:
            self.put(sda=1, after=times.setup_data)
            self.put(scl=1, after=times.low - times.setup_data)
        self.put(sda=0, after=max(times.setup_start, times.bus_free))
        self.put(scl=0, after=times.hold_start)

    def stop(self):
        """Make a STOP."""
        times = self.times
        self.put(sda=0, after=times.setup_data)
        self.put(scl=1, after=times.low)
        self.put(sda=1, after=times.setup_stop)
        self.ns += times.bus_free

    def bit(self, value):
        """Make a clock with a bit; return what was on the wire."""
        times = self.times
        hold = times.fall
        self.put(sda=value, after=hold)
        self.put(scl=1, after=times.low - hold)
        found = self._wire()
        self.put(scl=0, after=self.high)
        return found

    def byte(self, value, acknowledge=1):
        """Send a byte; return what was on the wire, and whether it was acknowledged."""
        bits = [self.bit(value >> (7 - n) & 1) for n in range(8)]
        return int("".join(map(str, bits)), 2), not self.bit(acknowledge)


def exchange(times, target=None):
    """Write two outputs, then read two inputs back, and return the wire and what was read."""
    wire = Maker(times, target)
    wire.start()
    for byte in (0x40, 2, 0x5A, 0xC3):
        wire.byte(byte, 1 if target else 0)
    wire.stop()
    wire.start()
    for byte in (0x40, 0):
        wire.byte(byte, 1 if target else 0)
    wire.start()
    wire.byte(0x41, 1 if target else 0)
    read = [wire.byte(0xFF if target else 0x12, 0)[0], wire.byte(0xFF if target else 0x34, 1)[0]]
    wire.stop()
    return wire.samples, read


@pytest.mark.parametrize("hz", TIMES)
def test_a_wire_of_least_times_is_clean(hz):
    """A wire that keeps each least time to the nanosecond has no fault."""
    samples, _ = exchange(TIMES[hz])
    assert [] == check(samples, TIMES[hz], 0x20)
    assert 3 == len(decode(samples))


def test_the_expander_answers():
    """Outputs take what was written; inputs come back as they are, bank 0 first."""
    target = Expander(0x20, look=lambda bank: (0xA5, 0x0F)[bank])
    samples, read = exchange(TIMES[400_000], target)
    assert ([0xA5, 0x0F], 0xC35A) == (read, target.outputs)
    assert [] == [fault.described for fault in check(samples, TIMES[400_000], 0x20)]


def test_a_decoder_from_outside_reads_the_same(tmp_path):
    """The i2c decoder of sigrok-cli reads the same bytes off the wire."""
    if shutil.which("sigrok-cli") is None:
        missing = "needs sigrok-cli: apt-get install sigrok-cli"
        if os.environ.get("CI") == "true":
            pytest.fail(missing)
        pytest.skip(missing)
    samples, _ = exchange(TIMES[400_000], Expander(0x20, look=lambda bank: (0x12, 0x34)[bank]))
    file = io.StringIO()
    with VCDWriter(file, timescale="1 ns") as writer:
        scl, sda = (writer.register_var("bus", n, "wire", size=1, init=1) for n in ("scl", "sda"))
        for sample in samples[1:]:
            writer.change(scl, int(sample.ns), sample.scl)
            writer.change(sda, int(sample.ns), sample.sda)
        writer.close(int(samples[-1].ns) + 5000)
    path = tmp_path / "wire.vcd"
    path.write_text(file.getvalue())
    command = ["sigrok-cli", "-i", path, "-I", "vcd:downsample=50", "-P", "i2c:scl=scl:sda=sda"]
    done = subprocess.run([*command, "-A", "i2c"], capture_output=True, text=True, check=True)
    said = [line.partition(": ")[2] for line in done.stdout.splitlines()]
    told = {"Data write": "data_write", "Data read": "data_read"}
    found = [
        (told[kind], int(value, 16))
        for kind, _, value in (line.partition(": ") for line in said)
        if kind in told
    ]
    assert [
        *(("data_write", byte) for byte in (2, 0x5A, 0xC3, 0)),
        *(("data_read", byte) for byte in (0x12, 0x34)),
    ] == found
    ours = [byte for message in decode(samples) for byte in message.data]
    assert ours == [value for _, value in found]


@pytest.mark.parametrize(
    "parameter", ["low", "high", "hold_start", "setup_start", "setup_stop", "bus_free"]
)
@pytest.mark.parametrize("hz", TIMES)
def test_a_time_too_short_is_named(parameter, hz):
    """A wire made with one time 10 ns short is told by that time's name, measured and required."""
    times = TIMES[hz]
    short = replace(times, **{parameter: getattr(times, parameter) - 10})
    if parameter == "bus_free":
        short = replace(short, setup_start=1)
    if parameter == "setup_start":
        short = replace(short, bus_free=1)
    wire = Maker(short)
    if parameter == "high":
        wire.high = short.high
    wire.start()
    for byte in (0x40, 2, 0x5A):
        wire.byte(byte, 0)
    if parameter == "setup_start":
        wire.start()
        wire.byte(0x40, 0)
    wire.stop()
    if parameter == "bus_free":
        wire.ns -= short.bus_free
        wire.start()
        wire.byte(0x40, 0)
        wire.stop()
    found = [fault for fault in check(wire.samples, times) if fault.parameter == parameter]
    assert found, [fault.described for fault in check(wire.samples, times)]
    assert getattr(times, parameter) == found[0].required
    assert 0 < found[0].required - found[0].measured <= max(10, times.low)
    others = {fault.parameter for fault in check(wire.samples, times)} - {parameter, "period"}
    assert set() == others


def test_data_that_changes_too_late_is_named():
    """SDA that changes 99 ns before SCL rises has too little set-up at 400 kHz."""
    times = TIMES[400_000]
    wire = Maker(times)
    wire.start()
    wire.put(sda=1, after=times.low - 99)
    wire.put(scl=1, after=99)
    (fault,) = [f for f in check(wire.samples, times) if f.parameter == "setup_data"]
    assert (99, 100) == (fault.measured, fault.required)


def test_a_spike_is_named():
    """A pulse of 20 ns on SCL is a spike (up to 50 ns are filtered: UM10204, table 10)."""
    times = TIMES[400_000]
    wire = Maker(times)
    wire.start()
    wire.put(scl=1, after=1000)
    wire.put(scl=0, after=20)
    found = {f.parameter: f for f in check(wire.samples, times)}
    assert (20, 50) == (found["spike"].measured, found["spike"].required)


def test_nobody_answers():
    """A target that that is deaf or elsewhere acknowledges nothing: told, with the address."""
    times = TIMES[400_000]
    for target, address in ((Expander(0x20, deaf=True), 0x20), (Expander(0x21), 0x21)):
        wire = Maker(times, target)
        wire.start()
        wire.byte(0x40)
        wire.stop()
        found = [f.parameter for f in check(wire.samples, times, address)]
        assert "acknowledge" in found
        assert ("address" in found) == (address == 0x21)


def test_a_transfer_cut_off_is_named():
    """A wire that ends within a transfer has one that is unfinished."""
    wire = Maker(TIMES[400_000])
    wire.start()
    wire.byte(0x40, 0)
    assert ["unfinished"] == [f.parameter for f in check(wire.samples, TIMES[400_000])]


def test_transfers_last_as_published():
    """A wire of one data byte at 400 kHz lasts 70.00 us from START to STOP, as in the table."""
    times = TIMES[400_000]
    wire = Maker(times)
    wire.start()
    begin = wire.samples[1].ns
    for byte in (0x40, 2, 0x5A):
        wire.byte(byte, 0)
    wire.stop()
    measured = wire.samples[-1].ns - begin
    assert TwoWireTransfer.write(1).duration(times) == 70_000
    assert abs(measured - 70_000) <= times.setup_data


def test_every_name_is_explained():
    """Each parameter a fault may have is explained in a sentence."""
    assert all(says and not says.endswith(".") for says in SAYS.values())
