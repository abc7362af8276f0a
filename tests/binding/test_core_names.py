"""Hierarchical names below the core: their width, or why there is nothing to observe."""

import pytest

from refmodel.ground.errors import UserError
from testbenches.hdl.elaborate import NameFaultError, UnknownTopError, elaborate

SOURCE = """\
typedef struct packed { logic ready; logic [7:0] data; } flags_t;
module top (input logic clk, output logic [0:7] rising, output flags_t flags_q);
    flags_t flags;
    logic [15:0] mem [0:3];
    logic [1:0][7:0] pair;
    enum logic [1:0] {IDLE, BUSY} state;
    integer count;
    real level;
    localparam LIMIT = 3;
    assign flags_q = flags;
    for (genvar n = 0; n < 2; n++) begin : lane
        logic q;
        leaf u (.clk(clk), .q(q));
    end
    leaf many [1:0] (.clk(clk), .q());
endmodule
module leaf (input logic clk, output logic q);
    logic c;
endmodule
module other;
endmodule
"""


@pytest.fixture(scope="module")
def design(tmp_path_factory):
    """Elaborate the core with names of every kind."""
    file = tmp_path_factory.mktemp("core") / "top.sv"
    file.write_text(SOURCE)
    return elaborate([file], "top")


@pytest.mark.parametrize(
    ("name", "width"),
    [
        ("clk", 1), ("rising", 8), ("rising[0:3]", 4), ("rising[2]", 1),
        ("flags", 9), ("flags.ready", 1),
        ("flags.data", 8), ("flags.data[3:0]", 4),
        ("flags[8]", 1), ("flags[7:0]", 8),
        ("mem[3]", 16), ("mem[0][5]", 1), ("mem[0][7:4]", 4),
        ("pair", 16), ("pair[1]", 8), ("pair[1:0]", 16), ("pair[0][3:0]", 4),
        ("state", 2), ("count", 32), ("count[31:24]", 8),
        ("lane[1].q", 1), ("lane[0].u.c", 1), ("many[1].c", 1),
    ],
)  # fmt: skip
def test_width(design, name, width):
    """A name, with the bits it takes, has the width the language gives it."""
    assert design.width_of(name) == width


@pytest.mark.parametrize(
    ("name", "message"),
    [
        (f"mem[{'9' * 5000}]", "is not a name such as u0.ready or u0.flags[7:0]"),
        ("", "is not a name such as u0.ready or u0.flags[7:0]"),
        ("a b", "is not a name such as u0.ready or u0.flags[7:0]"),
        ("{a, b}", "is not a name such as u0.ready or u0.flags[7:0]"),
        ("rising[1:0][0]", "is not a name such as u0.ready or u0.flags[7:0]"),
        ("clok", "there is no 'clok' in the core; did you mean 'clk'?"),
        ("lane[0].u.d", "there is no 'd' in lane[0].u; known: c, clk, q"),
        ("lane[2].q", "there is no lane[2]"),
        ("lane[0].clk", "there is no 'clk' in lane[0]; known: n, q, u"),
        ("clk.q", "'clk' is a signal; nothing is below it"),
        ("flags.redy", "there is no 'redy' in flags; did you mean 'ready'?"),
        ("rising.ready", "'rising' is a signal; nothing is below it"),
        ("lane", "'lane' is not a signal"),
        ("lane[0].u", "'u' is not a signal"),
        ("LIMIT", "'LIMIT' is not a signal"),
        ("BUSY", "'BUSY' is not a signal"),
        ("mem", "is not a vector; choose an element or a bit"),
        ("level", "is not a vector; choose an element or a bit"),
        ("mem[0:1]", "is a range of a memory; choose one element"),
        ("mem[4]", "[4] is outside [0:3]"),
        ("rising[8]", "[8] is outside [0:7]"),
        ("rising[3:0]", "[3:0] runs against [0:7]"),
        ("pair[0:1]", "[0:1] runs against [1:0]"),
        ("clk[0]", "bits can be taken of a vector only"),
        ("rising[0][0]", "bits can be taken of a vector only"),
        ("level[0]", "bits can be taken of a vector only"),
    ],
)
def test_no_such_name(design, name, message):
    """A name that shows nothing is refused with the reason and the nearest name."""
    with pytest.raises(NameFaultError) as error:
        design.width_of(name)
    assert str(error.value) == message


def test_only_root_is_the_top(tmp_path):
    """Without a top, the one module that no other instantiates is taken."""
    file = tmp_path / "top.sv"
    file.write_text(SOURCE.replace("module other;\nendmodule\n", ""))
    assert elaborate([file], None).top.name == "top"


def test_several_roots(tmp_path):
    """Without a top, several such modules are named."""
    file = tmp_path / "top.sv"
    file.write_text(SOURCE)
    with pytest.raises(UnknownTopError) as error:
        elaborate([file], None)
    assert error.value.known == ("other", "top")


def test_unknown_top(tmp_path):
    """A top that is no module is answered with the modules there are."""
    file = tmp_path / "top.sv"
    file.write_text(SOURCE)
    with pytest.raises(UnknownTopError) as error:
        elaborate([file], "tip")
    assert error.value.known == ("leaf", "other", "top")


def test_path_that_no_tool_can_be_told(tmp_path):
    """A path that is no UTF-8 text is refused by name."""
    file = tmp_path / "core\udcff.v"
    file.write_text(SOURCE)
    with pytest.raises(UserError, match=r"core.*the path is not UTF-8 text; rename it"):
        elaborate([file], "top")
