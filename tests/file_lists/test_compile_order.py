"""Files that a folder or a pattern stands for are compiled in an order their packages allow."""

import pytest
from command import cellstep

from testbenches.binding.source_files import matching_files
from testbenches.hdl.compile_order import packages_first

FILES = {
    "a_core.sv": "module a_core import z_types::*; (input flag_t f); endmodule\n",
    "b_more.sv": "// package nothing; z_types::no\npackage b_more; import z_types::*; endpackage\n",
    "c_other.sv": "module c_other; localparam X = b_more::ONE; endmodule\n",
    "z_types.sv": "  package automatic z_types; typedef logic flag_t; endpackage\n",
}
ORDER = ["z_types.sv", "b_more.sv", "a_core.sv", "c_other.sv"]


@pytest.fixture
def folder(tmp_path):
    """Return a folder with a package that another one uses, both late in the alphabet."""
    for name, text in FILES.items():
        (tmp_path / name).write_text(text)
    return tmp_path


def test_a_package_comes_before_whatever_uses_it(folder):
    """Also before another package; the rest stays in order."""
    found = packages_first(sorted(folder.iterdir()))
    assert ORDER == [path.name for path in found]
    assert ORDER == [path.name for path in matching_files(folder, "*.sv")]


def test_packages_in_a_ring_stay_in_order(tmp_path):
    """What cannot be compiled in any order is left for the simulator to say so."""
    for one, other in (("p", "q"), ("q", "p")):
        (tmp_path / f"{one}.sv").write_text(f"package {one}; import {other}::*; endpackage\n")
    assert len(packages_first(sorted(tmp_path.iterdir()))) == 2


CORE = """
module core import z_types::*; (input logic clk, rst, stb, bit_in, bus_t bus,
  output logic [15:0] answer);
endmodule
"""
TYPES = """
package z_types;
  typedef struct packed { logic rd; logic wr; logic [1:0] adr; logic [15:0] din; } bus_t;
endpackage
"""
BINDING = """
core: {top: core, sources: ['*.sv']}
profile: pal_dd
clock: {port: clk}
reset: {port: rst}
disk: {strobe: stb, value: bit_in}
bus:
  address: bus.adr
  read: bus.rd
  write: bus.wr
  write_data: bus.din
  read_data: answer
  registers: {status: 0, sync_word: 1}
  others: []
observe: {status: answer}
"""


def test_the_parts_of_a_struct_get_a_wrapper_that_has_them_as_ports(tmp_path):
    """The message has the module to file, with the parts joined in the struct's own order."""
    (tmp_path / "core.sv").write_text(CORE)
    (tmp_path / "z_types.sv").write_text(TYPES)
    (tmp_path / "binding.yaml").write_text(BINDING)
    done = cellstep("run", tmp_path / "binding.yaml", "--out", tmp_path / "out")
    assert 2 == done.returncode
    assert "tie:" not in done.stderr
    assert "bus.address: 'bus.adr' is a part of the port 'bus', and the harness" in done.stderr
    assert "input wire [15:0] bus_din" in done.stderr
    assert ".bus({bus_rd, bus_wr, bus_adr, bus_din})" in done.stderr
