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
    """A latch is told with file, line and signal."""
    (one,) = warned(edited("latch"))
    assert ("latch", "disk_regs.sync_shown") == (one.kind, one.signal)
    line = (REFERENCE / "disk_regs.v").read_text().splitlines().index("    " + EDITS["latch"][0])
    assert line + 2 == one.line
    assert one.file.endswith("core/disk_regs.v")


def test_loop_is_named(edited):
    """A combinational loop is told with file, line and signal."""
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
