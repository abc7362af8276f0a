"""What tools say of a core's files, and what a core prints, reach the report and a file of it."""

import json
import shutil

import pytest
from command import cellstep

from hdl_stubs.defects import REFERENCE
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.lint import loops, warnings_of
from testbenches.toolchain import available

EDITS = {
    "latch": (
        "wire sync_shown  = SYNC_VIEW == REGISTERED ? sync_equal_before : sync_equal;",
        "reg sync_shown;\n    always @* if (!read_status) sync_shown = sync_equal;",
    ),
    "loop": (
        "assign status[UNUSED_MSB:UNUSED_LSB] = 4'b0000;",
        "wire [3:0] going; assign going = {3'b000, xfer_on & ~going[data[1:0]]};\n"
        "    assign status[UNUSED_MSB:UNUSED_LSB] = going;",
    ),
    "print": ("endmodule", 'initial $display("hello from the core");\nendmodule'),
}


@pytest.fixture
def edited(tmp_path):
    """Return a function that edits the reference core and gives the binding of the copy."""

    def edit(name):
        shutil.copytree(REFERENCE, tmp_path / "core")
        path = tmp_path / "core" / "disk_regs.v"
        old, new = EDITS[name]
        text = path.read_text()
        assert 1 == text.count(old)
        path.write_text(text.replace(old, new))
        return tmp_path / "core" / "binding.yaml"

    return edit


def warned(binding):
    """Return the warnings about a core's files."""
    if "verilator" not in available():
        pytest.skip("needs verilator")
    core = load_binding(binding)
    return warnings_of(preflight(core), core.core.defines)


def test_shipped_core_has_no_warning():
    """The reference core gives none."""
    assert () == warned(REFERENCE / "binding.yaml")


def test_latch_is_named(edited):
    """A latch is reported with file, line and signal."""
    (one,) = warned(edited("latch"))
    assert ("latch", "disk_regs.sync_shown") == (one.kind, one.signal)
    line = (REFERENCE / "disk_regs.v").read_text().splitlines().index("    " + EDITS["latch"][0])
    assert line + 2 == one.line
    assert one.file.endswith("core/disk_regs.v")


def test_loop_is_named(edited):
    """A combinational loop is reported with file, line and signal."""
    (told,) = loops(warned(edited("loop")))
    assert told.endswith(": combinational loop through disk_regs.going")


def test_latch_stands_with_the_mismatch_and_in_a_file(edited, tmp_path):
    """The report counts the warnings and names the latch; tools.txt has what the tool said."""
    if len(available()) < 2:
        pytest.skip("needs both simulators")
    options = ["--suite", "quick/sync_poll", "--sim", "icarus", "--out", tmp_path / "out"]
    done = cellstep("run", edited("latch"), *options)
    assert 1 == done.returncode, done.stderr
    assert "Tools: 1 warning about the core's files" in done.stdout
    assert "  tools     latch disk_regs.sync_shown, " in done.stdout
    assert "Latch inferred" in (tmp_path / "out" / "tools.txt").read_text()
    (one,) = json.loads((tmp_path / "out" / "result.json").read_text())["tool_warnings"]
    assert "latch" == one["kind"]


@pytest.mark.parametrize(
    "simulator",
    ["icarus", pytest.param("verilator", marks=pytest.mark.long)],
    indirect=True,
)
def test_what_the_core_prints_is_counted_and_kept(edited, simulator, tmp_path):
    """A core's own $display lines are counted, and stand in tools.txt without the simulator's."""
    options = ["--suite", "quick/sync_poll", "--sim", simulator, "--out", tmp_path / "out"]
    done = cellstep("run", edited("print"), *options)
    assert 0 == done.returncode, done.stdout + done.stderr
    assert f"The core itself printed 1 line on {simulator}" in done.stdout
    lines = (tmp_path / "out" / "tools.txt").read_text().splitlines()
    assert ["  hello from the core"] == lines[1:]


@pytest.mark.long
def test_loop_is_told_within_seconds(edited, simulator):
    """A run of a core with a combinational loop ends soon, and names it, on both simulators."""
    done = cellstep("run", edited("loop"), "--suite", "quick/random", "--sim", simulator)
    assert 125 == done.returncode
    assert ": combinational loop through disk_regs.going" in done.stdout


ODD = """
module low(input [7:0] a, output [3:0] y);
  assign y = a;
endmodule
"""
FAULTS = {  # what is added to the core, and what each simulator has to say of it
    "width": ("low l(.a(adr), .y());", "widths differ", ("verilator", "icarus")),
    "implicit": ("assign nowhere = rd;", "net without declaration", ("verilator", "icarus")),
    "two drivers": (
        "reg m; always @(posedge clk) m <= rd; always @(negedge clk) m <= wr;\n"
        "  always @(m) if (m) $display(m);",
        "driven in two places",
        ("verilator",),
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_each_simulator_alone_tells_of_a_fault(fault, simulator, core, monkeypatch):
    """Widths, nets without declaration and two drivers are reported by whoever sees them."""
    text, kind, tools = FAULTS[fault]
    if simulator not in tools:
        pytest.skip(f"{simulator} says nothing of it")
    one = core().change(
        "disk_regs.v",
        ("`default_nettype none", "`default_nettype wire"),
        ("endmodule", f"  {text}\nendmodule"),
    )
    path = one.folder / "disk_regs.v"
    path.write_text(path.read_text() + ODD)
    monkeypatch.setattr("testbenches.lint.available", lambda: [simulator])
    found = warned(one.binding)
    assert kind in {w.kind for w in found}
    assert {simulator} == {w.tool for w in found}
    assert all(w.file == str(path) for w in found)


def test_line_is_told_once_with_both(core):
    """Where both simulators say something of a line, it is counted once."""
    one = core().change("disk_regs.v", ("endmodule", "  low l(.a(adr), .y());\nendmodule"))
    path = one.folder / "disk_regs.v"
    path.write_text(path.read_text() + ODD)
    places = [(w.file, w.line) for w in warned(one.binding) if w.kind == "widths differ"]
    assert len(places) == len(set(places))


def test_included_file_that_is_not_found_names_the_option(tmp_path):
    """A missing include says where the file lies, and how its folder is named."""
    (tmp_path / "rtl").mkdir()
    (tmp_path / "headers" / "sub").mkdir(parents=True)
    source = tmp_path / "rtl" / "top.v"
    source.write_text('`include "sub/widths.vh"\nmodule top(input clk); endmodule\n')
    done = cellstep("bind", source, "--top", "top", cwd=tmp_path)
    assert 125 == done.returncode
    assert "name the folder 'sub/widths.vh' is in: cellstep bind --include FOLDER" in done.stderr
    (tmp_path / "headers" / "sub" / "widths.vh").write_text("`define W 4\n")
    done = cellstep("bind", source, "--top", "top", cwd=tmp_path)
    assert (
        "'sub/widths.vh' lies in headers: cellstep bind --include headers, or core." in done.stderr
    )
    done = cellstep("bind", source, "--top", "top", "--include", tmp_path / "headers", cwd=tmp_path)
    assert "does not compile" not in done.stderr
