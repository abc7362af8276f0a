"""A drafted binding lists a core's sources in an order in which every simulator compiles them."""

from testbenches.drafting.draft import draft

MODULE = """\
module a_core import z_pkg::*; (input clk, rst, stb, bit_in, output [15:0] status);
endmodule
"""


def test_package_comes_first(tmp_path):
    """A file with a package stands before a module that imports it, whatever their names."""
    core, package = tmp_path / "a_core.sv", tmp_path / "z_pkg.sv"
    core.write_text(MODULE)
    package.write_text("// types\npackage z_pkg;\n  typedef logic [7:0] octet_t;\nendpackage\n")
    text = draft([core, package], folder=tmp_path)
    assert "  sources: [z_pkg.sv, a_core.sv]\n" in text


def test_order_is_kept(tmp_path):
    """Sources without a package stay in the order in which they were given."""
    core, part = tmp_path / "core.sv", tmp_path / "a_part.sv"
    core.write_text(
        MODULE.replace("import z_pkg::*; ", "").replace("endmodule", "p u();\nendmodule")
    )
    part.write_text("module p; // no package here\nendmodule\n")
    assert "  sources: [core.sv, a_part.sv]\n" in draft([core, part], "a_core", tmp_path)
