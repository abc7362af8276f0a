"""Cores in VHDL: what GHDL makes of them is the same design, and its messages are the user's."""

import shutil
import subprocess
from pathlib import Path

import pytest
from replaced import replace_in, replaced

from hdl_stubs.defects import HERE
from refmodel.ground.errors import CannotRun, InputError
from refmodel.world.find import find_suite
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.hdl import vhdl
from testbenches.hdl.elaborate import UnknownTopError
from testbenches.hdl.ghdl_verilog import mended
from testbenches.lockstep import Lockstep
from testbenches.toolchain import available

CORE = HERE / "vhdl"
CONSTRUCTS = Path(__file__).parent / "constructs"
GOOD = """library ieee;
use ieee.std_logic_1164.all;
entity top is
  generic (FLIP : natural := 0);
  port (clk, d : in std_logic; q : out std_logic);
end entity;
architecture a of top is
begin
  process (clk) begin
    if rising_edge(clk) then
      q <= not d when FLIP = 1 else d;
    end if;
  end process;
end architecture;
"""

needs_ghdl = pytest.mark.skipif(not shutil.which("ghdl"), reason="GHDL is not installed")
needs_icarus = pytest.mark.skipif(not shutil.which("iverilog"), reason="Icarus is not installed")


@pytest.fixture
def source(tmp_path):
    """Return a function that writes a VHDL file, with a piece of its text replaced."""

    def write(old="", new=""):
        path = tmp_path / "top.vhd"
        path.write_text(replaced(GOOD, (old, new)) if old else GOOD)
        return path

    return write


@pytest.fixture
def translate(tmp_path):
    """Return `vhdl.translate` into a folder of the test's own."""
    return lambda *files, top="top", **generics: vhdl.translate(
        list(files), top, tmp_path / "out", generics
    )


def said(*command, folder):
    """Run a program in a folder and return what it prints."""
    done = subprocess.run(
        [*map(str, command)], cwd=folder, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.lower().splitlines()


@needs_ghdl
@needs_icarus
@pytest.mark.parametrize("name", ["choices", "arithmetic"])
def test_translation_is_the_same_design(name, translate, tmp_path):
    """Source: GHDL's own simulator shows in each cycle what Icarus shows of the translation."""
    sources = CONSTRUCTS / f"{name}.vhd", CONSTRUCTS / "bench.vhd"
    said("ghdl", "-a", "--std=08", *sources, folder=tmp_path)
    said("ghdl", "-e", "--std=08", "bench", folder=tmp_path)
    original = said("ghdl", "-r", "--std=08", "bench", "--ieee-asserts=disable", folder=tmp_path)
    verilog = translate(sources[0], top="constructs")
    said("iverilog", "-g2005", "-o", "bench", CONSTRUCTS / "bench.v", verilog, folder=tmp_path)
    assert original == said("vvp", "-n", "bench", folder=tmp_path)
    assert len(original) > 3900
    assert len(set(original)) > 2000


@needs_ghdl
def test_third_core_agrees(tmp_path):
    """The VHDL core, whose reads take a cycle, agrees with the model in the whole quick suite.

    That it does so live as well, tests/lockstep finds.
    """
    lockstep = Lockstep(load_binding(CORE / "binding.yaml"), tmp_path, 1, {})
    prepared = lockstep.prepare(find_suite("quick"), lambda _: None)
    outcomes = lockstep.run(prepared, lockstep.session(available()[0]), lambda _: None)
    assert {"agree"} == {outcome.verdict for outcome in outcomes}


@needs_ghdl
def test_generics_are_set(source, translate):
    """A parameter of the binding sets the generic before the core becomes Verilog."""
    assert "1'b0 ? " in translate(source()).read_text()
    assert "1'b1 ? " in translate(source(), FLIP=1).read_text()


@needs_ghdl
def test_order_of_sources_does_not_matter(translate):
    """A package may stand behind the entity that uses it."""
    entity, package = CORE / "status_core.vhd", CORE / "block_types.vhd"
    assert translate(entity, package, top="status_core").exists()


@needs_ghdl
def test_translated_once(source, translate, monkeypatch):
    """The same sources are translated once; a changed one is translated again."""
    path = source()
    first = translate(path)
    monkeypatch.setattr(vhdl._Translation, "verilog", lambda _: "again")
    assert first == translate(path)
    assert "again" == translate(source("not d", "d")).read_text()


@needs_ghdl
def test_older_standard_is_taken(source, translate):
    """Sources that use a word VHDL-2008 has taken for itself are read as VHDL-93."""
    path = source("q <= not d when FLIP = 1 else d;", "q <= vmode;")
    path.write_text(path.read_text().replace("clk, d :", "clk, vmode :"))
    assert translate(path).exists()


@needs_ghdl
@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("q <= not d", "q <= not e", 'top.vhd:11:16: no declaration for "e"'),
        ("if rising", "fi rising", "top.vhd:10:8: "),
        ("if rising_edge(clk) then", "wait for 1 ns; if true then", "top.vhd:10:5: "),
        ("begin\n  process", "component c is port (a : out bit); end component;\nbegin\n"
         "  i : c;\n  process", 'top.vhd:10:3: instance "i" of component "c" is not bound'),
        ("q <= not d when FLIP = 1 else d;", 'case d is when \'-\' => q <= d; when others => end'
         " case;", "top.vhd:11:17: choice with meta-value is ignored"),
        ("end architecture", "reg: q <= d;\nend architectur", "top.vhd:15:"),
    ],
)  # fmt: skip
def test_fault_is_told_at_its_place(old, new, message, source, translate):
    """What GHDL refuses, or would silently change, is an error at the VHDL's line and column."""
    with pytest.raises(CannotRun) as caught:
        translate(source(old, new))
    assert "the core does not compile:\n" in str(caught.value)
    assert message in str(caught.value)
    assert caught.value.exit_status == 125


@needs_ghdl
def test_name_verilog_keeps_for_itself(source, translate):
    """A port by a name that is a word of Verilog is an error that shows where it stands."""
    with pytest.raises(CannotRun, match=r"'input  initial,': 'initial' is a keyword"):
        translate(source("d : in", "initial, d : in"))


@needs_ghdl
def test_wrong_value_of_a_generic(source, translate):
    """A value that is none of the generic's type names the generic."""
    with pytest.raises(CannotRun, match=r"does each generic take its value.*-gFLIP=abc"):
        translate(source(), FLIP="abc")


@needs_ghdl
def test_unknown_entity(source, translate):
    """A top that is no entity brings the names of the entities there are."""
    with pytest.raises(UnknownTopError) as caught:
        translate(source(), top="tip")
    assert ("top",) == caught.value.known


def test_missing_ghdl_names_its_package(source, translate, monkeypatch):
    """Without GHDL the user reads which package to install."""
    monkeypatch.setattr(vhdl.shutil, "which", lambda _: None)
    with pytest.raises(CannotRun, match=r"top.vhd: VHDL needs GHDL, .*ghdl"):
        translate(source())


@pytest.fixture
def bound(tmp_path):
    """Return a function that checks a changed copy of the VHDL core's binding."""

    def check(old, new):
        shutil.copytree(CORE, tmp_path / "core")
        path = tmp_path / "core" / "binding.yaml"
        replace_in(path, (old, new))
        return preflight(load_binding(path))

    return check


@needs_ghdl
def test_parameters_are_used_up(bound):
    """The harness gets one Verilog file with the VHDL's ports and no parameter left to set."""
    ports = bound("SYNC_VIEW: 0", "SYNC_VIEW: 1")
    assert {} == ports.parameters
    assert [".v"] == [path.suffix for path in ports.sources]
    assert 16 == ports.width("status_now")


@needs_ghdl
@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("REALIGN: 1", "REALIGM: 1", "5:16: core.parameters.REALIGM: 'status_core' has no such"),
        ("top: status_core", "top: status_cor", "; did you mean 'status_core'?"),
        ("to_host\n", "to_hist\n", "no port 'to_hist'; did you mean 'to_host'?"),
        ("status: status_now", "status: state_now", "there is no 'state_now' in the core"),
    ],
)
def test_binding_that_does_not_fit(old, new, message, bound):
    """What does not fit a VHDL core is an error at its key, as with Verilog."""
    with pytest.raises(InputError) as caught:
        bound(old, new)
    assert message in str(caught.value)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('["*.vhd"]', '["*.vhd", ../stub/disk_regs.v]', "VHDL and Verilog in one core"),
        ("  parameters", "  defines: {A: 1}\n  parameters", "VHDL has no defines; leave it out"),
    ],
)
def test_what_vhdl_cannot_have(old, new, message, bound, tmp_path):
    """Verilog beside VHDL, and what only Verilog has, are refused before GHDL is looked for."""
    shutil.copytree(HERE / "stub", tmp_path / "stub")
    with pytest.raises(InputError) as caught:
        bound(old, new)
    assert message in str(caught.value)


@needs_ghdl
def test_signal_inside_is_observed(bound):
    """A signal that is not a port is observed by the name it has in the architecture."""
    assert bound("status: status_now", "status: status").ports


NETLIST = """
architecture rtl of m is
  with s select o <=
    a when "01",
    wrap_b when others;
"""
MODULE = "module m (input b);\n  always @*\n    case (s)\n      2'b01: o <= a;\n    endcase\n"


@pytest.mark.parametrize(
    ("written", "right"),
    [
        ('  assign o = "0101";', "  assign o = 4'b0101;"),
        ("  assign o = $signed(a) >> b;", "  assign o = $signed(a) >>> b;"),
        ("  assign o = a >> b;", "  assign o = a >> b;"),
        ("  assign o = a / b; // sdiv", "  assign o = $signed(a) / $signed(b);"),
        ("  assign o = a / b; // udiv", "  assign o = a / b; // udiv"),
        ("  o <= std_logic_vector(abs $signed(a));", "  assign o = $signed(a) < 0 ? -a : a;"),
        ("  o <= a when b else c;", "  assign o = b ? a : c;"),
    ],
)
def test_mend(written, right):
    """Each fault is put right where it stands, and nothing else is touched."""
    assert right == mended(written, lambda: "")


def test_last_branch_comes_back():
    """The last branch of a case, which the Verilog lacks, is taken from the VHDL netlist."""
    assert "2'b01: o = a;\n      default: o = b;\n" in mended(MODULE, lambda: NETLIST)


@pytest.mark.parametrize(
    "netlist",
    ["", NETLIST.replace("select o", "select p"), NETLIST.replace("wrap_b", "f(b)"), NETLIST * 2],
)
def test_lost_branch_is_an_error(netlist):
    """A last branch that is not to be found is never left out in silence."""
    with pytest.raises(CannotRun, match=r"drops branches of 'case'.*use GHDL 3"):
        mended(MODULE, lambda: netlist)
