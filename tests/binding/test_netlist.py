"""What drives what in a core, whatever the style it is written in."""

import pytest

from testbenches.drafting.netlist import Cat, Const, Match, Net, NetBits, NetLevel, nets_in
from testbenches.drafting.read_netlist import read_netlist
from testbenches.hdl.elaborate import elaborate

TOP = """\
module m (input clk, rst_n, en, bit_in, sel, rd, wr, input [3:0] adr, input [7:0] din,
          output reg [15:0] w, output reg [7:0] b, output reg f, output g);
{body}
endmodule
module inner (input clk, i, input [1:0] pair, output reg o, output [7:0] wide);
    always @(posedge clk) o <= i;
    assign wide = 8'h5A;
endmodule
"""
OUTER = 90  # so many levels of nested source are read at least
SHIFT = Cat((NetBits(Net("w", 16), 0, 15), Net("bit_in", 1)), 16)


@pytest.fixture
def read(tmp_path):
    """Read a core's body into a netlist."""

    def read(body):
        file = tmp_path / "m.sv"
        file.write_text(TOP.format(body=body))
        return read_netlist(elaborate([file], "m"))

    return read


def values(netlist, net):
    """Return each value a net may take, with the conditions for it."""
    return [(value, netlist.holds(drive)) for value, drive in netlist.leaves(net)]


@pytest.mark.parametrize(
    "body",
    [
        "always @(posedge clk) if (en) w <= {w[14:0], bit_in};",
        "always @(posedge clk) if (en) w <= w << 1 | bit_in;",
        "always @(posedge clk) begin if (!en) begin end else w <= (w << 1) | bit_in; end",
        "wire on = en; always_ff @(posedge clk) if (on == 1'b1) w <= {w[0 +: 15], bit_in};",
        "wire off = ~en; always @(posedge clk) if (!off) w <= {w[14 -: 15], bit_in};",
        "always @(posedge clk) case (en) 1'b1: w <= {w[14:0], bit_in}; endcase",
        "always @(posedge clk) case (1'b1) en: w <= {w[14:0], bit_in}; endcase",
    ],
)
def test_shift_register(read, body):
    """A shift under an enable is the same in every spelling."""
    assert values(read(body), "w") == [(SHIFT, [NetLevel("en", True)])]


@pytest.mark.parametrize(
    ("body", "conditions"),
    [
        ("if (rd && adr == 4) f <= 0;", [NetLevel("rd", True), Match("adr", 4, "")]),
        ("if (rd) if (4 == adr) f <= 0;", [NetLevel("rd", True), Match("adr", 4, "")]),
        ("if (!(wr || adr != 4)) f <= 0;", [NetLevel("wr", False), Match("adr", 4, "")]),
        ("if (rd) case (adr) FOUR: f <= 0; default: ; endcase",
         [NetLevel("rd", True), Match("adr", 4, "FOUR")]),
        ("if (hit) f <= 0;", [NetLevel("sel", False), Match("adr", 4, "FOUR")]),
        ("if (sel || rd) f <= 0;", []),
        ("if (adr != 4) f <= 0;", []),
        ("case (adr) 1, 2: f <= 0; endcase", []),
        ("case (adr) 1: ; default: f <= 0; endcase", []),
    ],
)  # fmt: skip
def test_conditions(read, body, conditions):
    """The conditions of an assignment are those that must hold, through named wires too."""
    named = "localparam FOUR = 4'd4; wire hit = !sel & adr == FOUR;"
    netlist = read(f"{named} always @(posedge clk) {body}")
    assert values(netlist, "f") == [(Const(0, 1), conditions)]


def test_multiplexer(read):
    """A multiplexer is one value a branch, with what chooses it."""
    netlist = read("assign g = sel ? (rd ? en : 1'b0) : wr;")
    assert values(netlist, "g") == [
        (Net("en", 1), [NetLevel("sel", True), NetLevel("rd", True)]),
        (Const(0, 1), [NetLevel("sel", True), NetLevel("rd", False)]),
        (Net("wr", 1), [NetLevel("sel", False)]),
    ]


def test_and_or_multiplexer(read):
    """Values gated by a repeated bit and joined by or are the branches of a multiplexer."""
    netlist = read("assign b = {8{sel}} & din | {8{rd}} & 8'h5A; ")
    found = [one for one in values(netlist, "b") if one[0] != Const(0, 8)]
    assert found == [
        (Net("din", 8), [NetLevel("sel", True)]),
        (Const(0x5A, 8), [NetLevel("rd", True)]),
    ]


def test_parts_under_the_same_guards(read):
    """Parts of a net that are driven under the same guards are one value."""
    netlist = read("always @* if (sel) begin b[7] = rd; b[6:4] = 0; b[3:0] = adr; end else b = 0;")
    assert values(netlist, "b") == [
        (Cat((Net("rd", 1), Const(0, 3), Net("adr", 4)), 8), [NetLevel("sel", True)]),
        (Const(0, 8), [NetLevel("sel", False)]),
    ]


def test_packed_structure(read):
    """A member of a packed structure is its bits, and a pattern of members their concatenation."""
    netlist = read(
        "struct packed {logic x; logic [6:0] y;} s; assign s = '{x: sel, y: 7'd5};"
        "assign g = s.x; assign b = {1'b0, s.y};"
    )
    assert netlist.bits(netlist.drives["g"][0].value) == [Net("sel", 1)]
    assert netlist.bits(Net("b", 8)) == [Const(n, 1) for n in (0, 0, 0, 0, 0, 1, 0, 1)]


@pytest.mark.parametrize(
    ("value", "conditions"),
    [
        ("1'b0 || sel", [NetLevel("sel", True)]),
        ("sel && ON", [NetLevel("sel", True)]),
        ("sel || !ON", [NetLevel("sel", True)]),
        ("(ON == 1 && sel) && rd", [NetLevel("sel", True), NetLevel("rd", True)]),
    ],
)
def test_parameter_that_decides(read, value, conditions):
    """A parameter's part of a condition is worked out."""
    netlist = read(f"parameter ON = 1'b1; assign g = {value};")
    assert list(netlist.conditions(Net("g", 1))) == conditions


def test_part_of_an_address(read):
    """A comparison of a part of a net is one of the whole net, the rest being 0."""
    netlist = read("wire hit = adr[3:1] == 5; always @(posedge clk) if (hit) f <= 1;")
    assert values(netlist, "f") == [(Const(1, 1), [Match("adr", 10, "")])]


def test_joined_target(read):
    """An assignment to a concatenation drives each part with its piece."""
    netlist = read("always @(posedge clk) {f, b} <= 9'h1A5;")
    assert values(netlist, "f") == [(Const(1, 1), [])]
    assert values(netlist, "b") == [(Const(0xA5, 8), [])]


def test_part_of_a_net(read):
    """A drive of some bits says which."""
    netlist = read("always @(posedge clk) begin w[15:8] <= din; w[adr] <= 1; w[7 -: 4] <= 3; end")
    assert [(d.lsb, d.width) for d in netlist.drives["w"]] == [(8, 8), (0, 16), (4, 4)]


def test_through_instances(read):
    """A port inside is the net outside; an expression at a port is what it always equals."""
    netlist = read("inner u (.clk(clk), .i(sel && rd), .pair({sel, rd}), .o(g), .wide(w[7:0]));")
    assert list(netlist.conditions(Net("u.i", 1))) == [NetLevel("sel", True), NetLevel("rd", True)]
    assert netlist.drives["g"][0].value == Net("u.i", 1)
    assert netlist.drives["g"][0].clocked
    assert values(netlist, "w") == [(Net("u.wide", 8), [])]
    assert netlist.clocks == {("clk", True): 1}


def test_edges(read):
    """A lone edge is a clock; of several edges of one block, one is a clock and the rest resets."""
    netlist = read(
        "always @(posedge clk) f <= 1; always @(negedge clk) b <= 1;"
        "always @(posedge clk or negedge rst_n) if (!rst_n) w <= 0; else w <= 1;"
    )
    assert netlist.clocks == {("clk", True): 1, ("clk", False): 1}
    assert netlist.shared_edges == {("clk", True): 1, ("rst_n", False): 1}


@pytest.mark.parametrize(
    ("body", "origin"),
    [
        ("assign g = sel;", NetLevel("sel", True)),
        ("assign g = ~sel;", NetLevel("sel", False)),
        ("reg q; always @(posedge clk) q <= !sel; assign g = !q;", NetLevel("sel", True)),
        ("reg q; always @(posedge clk) if (!rst_n) q <= 0; else q <= sel; assign g = q;",
         NetLevel("sel", True)),
        ("reg q; always @(posedge clk) q <= rst_n && sel; assign g = q;", NetLevel("sel", True)),
        ("reg q; always @(posedge clk) q <= rd && sel; assign g = q;", None),
        ("reg q; always @(posedge clk) if (rd) q <= en; else q <= sel; assign g = q;", None),
    ],
)  # fmt: skip
def test_origin(read, body, origin):
    """A value is followed back to the one input it copies, through registers and inversions."""
    assert read(body).origin(Net("g", 1), resets={"rst_n"}) == origin


def test_very_long_expression(read):
    """An expression longer than anyone writes still follows the one input it is made of."""
    netlist = read(f"assign g = {' | '.join(['sel'] * 3000)};")
    assert netlist.origin(Net("g", 1)) == NetLevel("sel", True)


def test_very_deep_multiplexer(read):
    """Of a multiplexer deeper than anyone writes the outer branches are read."""
    found = values(read(f"assign w = {'sel ? 1 : ' * 600} 2;"), "w")
    low, high = NetLevel("sel", False), NetLevel("sel", True)
    assert found[:OUTER] == [(Const(1, 32), [low] * n + [high]) for n in range(OUTER)]


def test_very_many_conditions(read):
    """Of more conditions in a row than anyone writes the first are read."""
    chain = " ".join(f"if (w == {n}) f = sel; else" for n in range(1, 1000))
    found = values(read(f"always @* {chain} f = 0;"), "f")
    assert found[:OUTER] == [(Net("sel", 1), [Match("w", n + 1, "")]) for n in range(OUTER)]


def test_nets_of_a_value(read):
    """Every net a value is made of is found, however deep."""
    netlist = read("assign b = sel ? {din[3:0], !rd, wr == en, adr[1:0]} : ^{w, bit_in} | din;")
    found = {net.path for net in nets_in(netlist.drives["b"][0].value)}
    assert found == {"sel", "din", "rd", "wr", "en", "adr", "w", "bit_in"}
