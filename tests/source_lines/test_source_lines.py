"""Each mismatch names the lines of the core's source behind the field, as it is elaborated."""

import difflib
import shutil
from pathlib import Path

import pytest
from command import cellstep

import hdl_stubs
from hdl_stubs.defects import REFERENCE, apply, load_defects
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.source_lines import SourceLines
from testbenches.toolchain import available

STUBS = Path(hdl_stubs.__file__).parent
DEFECTS = {defect.name: defect for defect in load_defects()}


def lines_of(binding, field):
    """Return file, line and signal of each line behind a field."""
    core = load_binding(binding)
    found = SourceLines(core, preflight(core), core.load_profile().status).of(field)
    return [(Path(line.file).name, line.line, line.signal) for line in found]


def changed(file, folder):
    """Return the lines of a file in a folder that the reference has not, by a plain text diff."""
    before, after = ((where / file).read_text().splitlines() for where in (REFERENCE, folder))
    blocks = difflib.SequenceMatcher(None, before, after, autojunk=False).get_opcodes()
    return {n + 1 for tag, _, _, a, b in blocks if tag != "equal" for n in range(a, b)}


@pytest.mark.share(3)
@pytest.mark.parametrize(
    "name",
    [
        "sync_latched_until_read",
        "sync_a_cycle_late",
        "ready_never_clears",
        "ready_sets_late",
        "dma_tied_low",
        "writing_from_the_wrong_source",
        "compare_fifteen_bits",
        "unused_bits_in_use",
    ],
)
def test_line_of_the_mistake_is_among_them(name, tmp_path):
    """The line a text diff finds changed is among the few that are named for the field."""
    defect = DEFECTS[name]
    apply(defect, REFERENCE, tmp_path / "core")
    named = lines_of(tmp_path / "core" / "binding.yaml", defect.field)
    places = {line for file, line, _ in named if file == defect.file}
    assert changed(defect.file, tmp_path / "core") & places
    assert len(named) <= 12


def test_nearest_comes_first():
    """The line that assigns the bit of status itself is the first."""
    text = (REFERENCE / "disk_regs.v").read_text().splitlines()
    line = next(n for n, t in enumerate(text, 1) if "assign status[SYNC_EQUAL]" in t)
    assert ("disk_regs.v", line, "status") == lines_of(REFERENCE / "binding.yaml", "sync_equal")[0]


def test_hierarchical_field_is_followed():
    """A field bound by a name inside the core starts at that register."""
    file, line, _ = lines_of(STUBS / "bytewide" / "binding.yaml", "byte_ready")[0]
    assert "flag_board.v" == file
    assert "rdy_q" in (STUBS / "bytewide" / file).read_text().splitlines()[line - 1]


def test_no_line_is_guessed():
    """A field that is not shown has no lines."""
    assert [] == lines_of(STUBS / "flux" / "counter.yaml", "channel_bit")


@pytest.mark.skipif(not shutil.which("ghdl"), reason="needs ghdl")
def test_vhdl_has_the_lines_that_assign_what_is_observed():
    """They are in the user's own file, not in the Verilog that a tool made of it."""
    text = (STUBS / "vhdl" / "status_core.vhd").read_text().splitlines()
    line = next(n for n, t in enumerate(text, 1) if "status_now <= status;" in t)
    found = lines_of(STUBS / "vhdl" / "binding.yaml", "sync_equal")
    assert [("status_core.vhd", line, "status_now")] == found


def test_report_and_page_name_them(tmp_path):
    """The report lists the lines, the page links them."""
    if "icarus" not in available():
        pytest.skip("needs icarus")
    apply(DEFECTS["sync_latched_until_read"], REFERENCE, tmp_path / "core")
    options = ["--suite", "quick/sync_poll", "--sim", "icarus", "--out", tmp_path / "out"]
    done = cellstep("run", tmp_path / "core" / "binding.yaml", *options)
    assert "  lines     " in done.stdout
    page = (tmp_path / "out" / "report.html").read_text()
    assert f'href="{(tmp_path / "core" / "disk_regs.v").as_uri()}"' in page


def held(binding, field):
    """Return what is said of registers behind a field that reset does not set."""
    core = load_binding(binding)
    return SourceLines(core, preflight(core), core.load_profile().status).not_reset(field)


RESETS = [
    ("", "", ""),
    ("            count     <= 3'd0;\n", "", "count"),
    ("            data      <= 8'h00;\n            ready     <= 1'b0;\n", "", "ready"),
    (
        "            count     <= 3'd0;\n",
        "        end\n        if (rst || (bit_stb && count == 7)) begin\n            count <= 0;\n",
        "",
    ),
    ("            equal     <= 1'b0;\n", "", ""),  # it follows at each edge, and holds nothing
]


@pytest.mark.parametrize(("old", "new", "name"), RESETS)
def test_register_that_reset_does_not_set_is_named(tmp_path, old, new, name):
    """A counter or a flag without a reset is named, a register that only follows is not."""
    folder = shutil.copytree(STUBS / "plain" / "wires", tmp_path / "core")
    text = (folder / "wires.v").read_text()
    assert old in text
    (folder / "wires.v").write_text(text.replace(old, new))
    said = {field: held(folder / "binding.yaml", field) for field in ("byte_ready", "sync_equal")}
    assert said["sync_equal"] == ""
    assert said["byte_ready"].startswith(f"reset does not set {name}: " if name else "")
    assert bool(said["byte_ready"]) == bool(name)


def test_one_field_of_a_word_has_its_own_lines_only(tmp_path):
    """Where status is put together in one line, the registers of other fields are not behind it."""
    binding = shutil.copytree(STUBS / "plain" / "wires", tmp_path / "core") / "binding.yaml"
    names = {signal for _, _, signal in lines_of(binding, "byte_ready")}
    assert "ready" in names
    assert not names & {"equal", "busy", "to_disk", "window"}
