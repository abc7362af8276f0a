"""A core's two-wire controller in the simulator: a good one is clean, each planted fault is named.

Required times: UM10204, the I2C-bus specification and user manual, table 10.
"""

import os
import shutil
import subprocess

import pytest
from command import cellstep

from hdl_stubs.defects import HERE
from refmodel.drive.two_wire import TIMES
from refmodel.drive.wire import decode
from refmodel.drive.wire_vcd import wire_vcd
from testbenches.wire import Target, run_wire
from testbenches.wire_binding import load_wire_binding

GOOD = HERE / "wire" / "wire.yaml"
CYCLE_NS = 1e9 / 7093790
# parameter of the core, its cycles, the time that comes too short
FAULTS = {
    "LOW": (8, "low"),
    "HIGH": (4, "high"),
    "HOLD_START": (4, "hold_start"),
    "SETUP_START": (4, "setup_start"),
    "SETUP_STOP": (4, "setup_stop"),
    "BUS_FREE": (8, "bus_free"),
}


def bound(folder, **parameters):
    """Return the shipped binding with parameters of the core changed."""
    text = GOOD.read_text().replace(
        "two_wire_controller.v", str(GOOD.parent / "two_wire_controller.v")
    )
    given = ", ".join(f"{name}: {value}" for name, value in parameters.items())
    path = folder / "wire.yaml"
    path.write_text(text.replace(".v]}", f".v], parameters: {{{given}}}}}"))
    return path


def played(path, simulator, **target):
    """Run the binding's core on one simulator."""
    return run_wire(*load_wire_binding(path), simulator, Target(**target))


def test_the_shipped_controller_is_clean(simulator):
    """The shipped controller keeps every time; its outputs arrive in order, inputs come back."""
    run = played(GOOD, simulator)
    assert [] == run.problems
    assert [value for value in run.wanted if value in run.outputs] == run.wanted
    assert 0xA55A == run.inputs
    assert {0x20} == {message.address for message in run.messages}


@pytest.mark.share(2)
@pytest.mark.parametrize("parameter", FAULTS)
def test_a_planted_fault_is_named(tmp_path, parameter):
    """Six cores with one time too short: each is reported by that time, measured and required."""
    cycles, name = FAULTS[parameter]
    run = played(bound(tmp_path, **{parameter: cycles}), "icarus")
    found = {fault.parameter: fault for fault in run.faults if fault.parameter != "period"}
    assert [name] == list(found)
    assert getattr(TIMES[400_000], name) == found[name].required
    assert cycles * CYCLE_NS == pytest.approx(found[name].measured)
    assert any(f"{name}: " in line and "required" in line for line in run.problems)


def test_both_simulators_see_the_same(tmp_path, simulator):
    """A faulty core shows the same faults on each simulator."""
    run = played(bound(tmp_path, HOLD_START=3), simulator)
    assert {"hold_start"} == {fault.parameter for fault in run.faults}
    assert 3 * CYCLE_NS == pytest.approx(run.faults[0].measured)


def test_a_wrong_address_is_named(tmp_path):
    """A core that writes to 0x21 while the expander is at 0x20 is told so."""
    run = played(bound(tmp_path, ADDRESS=0x21), "icarus")
    found = {fault.parameter: fault for fault in run.faults}
    assert {"address", "acknowledge"} == set(found)
    assert (0x21, 0x20) == (found["address"].measured, found["address"].required)
    assert "the expander drives nothing at the end" in run.problems[-1]


def test_a_missing_acknowledge_is_named():
    """With an expander that is deaf every byte lacks its acknowledge."""
    run = played(GOOD, "icarus", deaf=True)
    assert {"acknowledge"} == {fault.parameter for fault in run.faults}


def test_a_stretched_clock_is_named_and_waited_for():
    """An expander that holds SCL 30 cycles is named; the core waits, and keeps every time."""
    run = played(GOOD, "icarus", stretch_cycles=30)
    assert {"stretch"} == {fault.parameter for fault in run.faults}
    assert run.wanted[-1] == run.outputs[-1]


def test_a_decoder_from_outside_reads_the_core(tmp_path):
    """The i2c decoder of sigrok-cli reads off the core's wire what we read."""
    if shutil.which("sigrok-cli") is None:
        missing = "needs sigrok-cli: apt-get install sigrok-cli"
        if os.environ.get("CI") == "true":
            pytest.fail(missing)
        pytest.skip(missing)
    run = played(GOOD, "icarus")
    path = tmp_path / "wire.vcd"
    path.write_text(wire_vcd(run.samples))
    command = ["sigrok-cli", "-i", path, "-I", "vcd:downsample=50", "-P", "i2c:scl=scl:sda=sda"]
    done = subprocess.run([*command, "-A", "i2c"], capture_output=True, text=True, check=True)
    lines = [line.partition(": ")[2] for line in done.stdout.splitlines()]
    found = [int(line[-2:], 16) for line in lines if line.startswith(("Data write", "Data read"))]
    ours = [byte for message in decode(run.samples) for byte in message.data]
    assert len(ours) > 50
    assert ours == found[: len(ours)]


def test_the_command_tells_faults_and_writes_the_wires(tmp_path):
    """The command ends with 1 for a faulty core, names the time, and writes a VCD file."""
    path = bound(tmp_path, SETUP_STOP=4)
    done = cellstep("wire", path, "--sim", "icarus", "--vcd", tmp_path / "wire.vcd")
    assert 1 == done.returncode
    assert "setup_stop: SDA rises too soon for a STOP" in done.stdout
    assert "measured 563.873, required 600" in done.stdout
    assert "$timescale 1 ns" in (tmp_path / "wire.vcd").read_text()
    assert 0 == cellstep("wire", GOOD, "--sim", "icarus").returncode


BAD = [
    ("speed: 400000", "speed: 50000", "'50000' Hz is not a speed in the table"),
    ("pulls: sda_low", "pulls: scl_low", "'scl_low' already has the role scl.pulls"),
    ("senses: scl_in", "senses: scl_inn", "no port 'scl_inn'; did you mean 'scl_in'"),
    ("outputs: outputs", "outputs: inputs", "'inputs' is an output"),
    ("top: two_wire_controller,", "top: two_wire_control,", "did you mean 'two_wire_controller'"),
    ("address: 0x20", "address: 0x90", "less than or equal to 119"),
    ("reset: {port: rst", "reset: {port: clk", "'clk' already has the role clock.port"),
]


@pytest.mark.parametrize(("old", "new", "said"), BAD)
def test_faults_of_a_binding(tmp_path, old, new, said):
    """A fault of the file is reported with file, line, column and what would do, exit status 2."""
    path = bound(tmp_path)
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    done = cellstep("wire", path)
    assert 2 == done.returncode
    assert said in done.stderr
    assert done.stderr.startswith(f"{path}:")
