"""The Verilog that ships: calm under both tools' lint, and true to the model's own table."""

import re
from itertools import product

import pytest
from hdl_lint import icarus, sources, verilator

from hdl_stubs.defects import HERE, REFERENCE
from refmodel.block.fields import CONTROL_FIELDS, STATUS_FIELDS, TRANSFER_FIELDS, Layout
from testbenches.binding.bus import REGISTERS
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.binding.roles import LINES
from testbenches.binding.source_files import source_files

TOPS = {
    "reference": "disk_regs",
    "stub": "disk_regs",
    "bytewide": "byte_port",
    "flux": "flux_regs",
    "drive": "drive_regs",
    "wire": "two_wire_controller",
}
BLOCKS = [core for core in TOPS if core != "wire"]  # those with a register block
POLICIES = [
    {"REALIGN": realign, "READY_TIE": tie, "SYNC_VIEW": view}
    for realign, tie, view in product((0, 1, 2), (0, 1), (0, 1))
]
POLICIES += [
    {"DMA_ACTIVE_MEANS": 1},
    {"WRITING_MEANS": 1},
    {"ZERO_LENGTH": 1},
    {"TAIL_LOST_BITS": 3},
    {"ARMING_WRITES": 1, "WRITE_BIT_CYCLES": 9},
    {"ARMING_WRITES": 8, "WRITE_BIT_CYCLES": 16},
]
BINDINGS = sorted(path for core in BLOCKS for path in (HERE / core).glob("*.yaml"))
SOURCES = sorted(path for core in TOPS for path in (HERE / core).glob("*.v"))
PORT = re.compile(r"^    (input|output) +(?:wire|reg) +(\[\d+:\d+\])? *(\w+)", re.MULTILINE)

each_core = pytest.mark.parametrize("core", TOPS)
each_source = pytest.mark.parametrize(
    "path", SOURCES, ids=lambda path: f"{path.parent.name}/{path.name}"
)


@each_core
def test_icarus_has_no_complaint(core):
    """Icarus compiles each core as Verilog-2005 and prints no warning."""
    done = icarus("-s", TOPS[core], *sources(core))
    assert (done.returncode, done.stdout + done.stderr) == (0, "")


@each_core
def test_verilator_has_no_complaint(core):
    """Verilator lints each core as Verilog-2005 and prints no warning."""
    done = verilator("--top-module", TOPS[core], *sources(core))
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize("policy", POLICIES, ids=lambda p: "-".join(f"{n}={p[n]}" for n in p))
def test_every_policy_lints(policy):
    """The reference core stays free of warnings whatever its parameters are."""
    chosen = [f"-G{name}={value}" for name, value in policy.items()]
    done = verilator(*chosen, "--top-module", "disk_regs", *sources("reference"))
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.parametrize("separator", [0, 1])
def test_every_separator_lints(separator):
    """The core with separators stays free of warnings whichever of them it has."""
    chosen = f"-GSEPARATOR={separator}"
    done = verilator(chosen, "--top-module", "flux_regs", *sources("flux"))
    assert (done.returncode, done.stderr) == (0, "")


def test_later_syntax_is_refused(tmp_path):
    """The compile above is a check of the language: a SystemVerilog declaration fails it."""
    later = tmp_path / "later.v"
    later.write_text("module later (input logic a, output logic b);\n  assign b = a;\nendmodule\n")
    assert icarus("-s", "later", later).returncode != 0


@each_source
def test_one_module_with_no_implicit_nets(path):
    """Each file holds the module it is named after, and switches implicit nets off and on again."""
    text = path.read_text()
    assert re.findall(r"^module (\w+)", text, re.MULTILINE) == [path.stem]
    assert text.startswith("`default_nettype none\n")
    assert text.endswith("`default_nettype wire\n")


def bit_numbers(file):
    """Return the plain numbers a file of the reference core has names for."""
    text = (REFERENCE / file).read_text()
    return {name: int(n) for name, n in re.findall(r"localparam (\w+) *= (\d+);", text)}


def places(found, fields):
    """Return where constants named after fields put them: one bit, or ..._MSB and ..._LSB."""
    result = {}
    for field in fields:
        name = field.name.upper()
        ends = (f"{name}_MSB", f"{name}_LSB") if field.width > 1 else (name, name)
        result[field.name] = tuple(found.get(end) for end in ends)
    return result


def test_bit_positions_are_the_models():
    """The reference core's bits of status are those of the model's table, unused ones included."""
    found = bit_numbers("disk_regs.v")
    assert places(found, STATUS_FIELDS) == {f.name: (f.msb, f.lsb) for f in STATUS_FIELDS}
    unused = (2 << found["UNUSED_MSB"]) - (1 << found["UNUSED_LSB"])
    assert unused == Layout().unused_mask


@pytest.mark.parametrize(
    ("file", "fields"),
    [
        ("transfer_control.v", TRANSFER_FIELDS),
        ("control_register.v", [f for f in CONTROL_FIELDS if f.name != "set"]),
        ("disk_regs.v", [f for f in CONTROL_FIELDS if f.name == "set"]),
    ],
)
def test_written_bits_are_the_models(file, fields):
    """The bits of transfer and control are those of the model's tables."""
    assert places(bit_numbers(file), fields) == {f.name: (f.msb, f.lsb) for f in fields}


def test_core_with_separators_has_the_reference_ports():
    """It takes read data where the reference core takes channel bits, and shows its own bits."""
    flux, reference = (
        set(PORT.findall((HERE / path).read_text()))
        for path in ("flux/flux_regs.v", "reference/disk_regs.v")
    )
    assert flux - reference == {
        ("input", "", "rdata_n"),
        ("output", "", "bit_stb"),
        ("output", "", "bit_out"),
    }
    assert reference - flux == {("input", "", "bit_stb"), ("input", "", "bit_in")}


def test_stub_has_the_reference_ports():
    """The stub can take the reference core's place: same ports, same widths, same order."""
    stub, reference = (
        PORT.findall((HERE / core / "disk_regs.v").read_text()) for core in ("stub", "reference")
    )
    assert len(reference) == 26
    assert stub == reference


@pytest.mark.parametrize("path", BINDINGS, ids=lambda path: f"{path.parent.name}/{path.name}")
def test_binding_fits_its_core(path):
    """Each binding names its core's top and all of its files, and fits its ports."""
    binding = load_binding(path)
    assert binding.core.top == TOPS[path.parent.name]
    assert sorted(p.resolve() for p in source_files(binding)[0]) == sources(path.parent.name)
    assert preflight(binding).ports


@pytest.mark.parametrize(
    "path",
    [
        "reference/binding.yaml",
        "bytewide/binding.yaml",
        "flux/counter.yaml",
        "flux/second_order.yaml",
    ],
)
def test_binding_with_transfers_leaves_nothing_out(path):
    """It gives every input a role and names every register and line."""
    binding = load_binding(HERE / path)
    assert binding.tie == {}
    assert set(binding.registers) == set(REGISTERS)
    assert [line.lane for line in binding.lines_observed] == list(LINES)
    assert binding.memory is not None
