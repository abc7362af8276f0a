"""Every operator of a netlist gives what a simulator makes of the same Verilog."""

import random
import shutil
import subprocess

import pytest
import z3

from refmodel.ground.errors import CannotRun
from testbenches.hdl.smt import machine
from testbenches.hdl.synth import NetSource, TooLargeError, netlist

EXPRESSIONS = [
    "a + b", "a - b", "a * b", "b ? a / b : 0", "b ? a % b : 0", "a & b", "a | b", "a ^ b",
    "a ~^ b", "~a", "-a", "a && b", "a || b", "!a", "a == b", "a != b", "a < b", "a <= b",
    "a > b", "a >= b", "s < t", "s >= t", "s >>> a[2:0]", "a >> b[3:0]", "a << b[3:0]", "&a",
    "|a", "^a", "~^a", "~&a", "a[b[2:0]]", "a[b[1:0] +: 4]", "s * t", "s + a", "b[0] ? a : b",
    "{a, b} >> 3", "{4{b[1:0]}}", "$signed(a[3:0])", "t / 3", "t % 3",
]  # fmt: skip
VECTORS = 60

pytestmark = pytest.mark.skipif(
    not (shutil.which("yosys") and shutil.which("iverilog")), reason="needs yosys and iverilog"
)


def test_operators_agree_with_a_simulator(tmp_path):
    """Icarus and the bit vectors give the same for random values of both signs."""
    outs = "".join(f"  assign y{n} = {expression};\n" for n, expression in enumerate(EXPRESSIONS))
    ports = ", ".join(f"output [15:0] y{n}" for n in range(len(EXPRESSIONS)))
    source = tmp_path / "gates.v"
    source.write_text(
        "module gates(input clk, input [7:0] a, input [7:0] b, input signed [7:0] s,"
        f" input signed [7:0] t, {ports});\n{outs}endmodule\n"
    )
    rng = random.Random(1)
    vectors = [
        [rng.choice((0, 1, 255, rng.randrange(256))) for _ in "abst"] for _ in range(VECTORS)
    ]
    wanted = simulated(tmp_path, source, vectors)
    made = machine(netlist(NetSource([source]), "gates"), "clk")
    for values, row in zip(vectors, wanted, strict=True):
        pairs = [
            (made.ports[name], z3.BitVecVal(value, 8))
            for name, value in zip("abst", values, strict=True)
        ]
        found = [
            z3.simplify(z3.substitute(made.value(f"y{n}"), *pairs)).as_long()
            for n in range(len(EXPRESSIONS))
        ]
        assert dict(zip(EXPRESSIONS, row, strict=True)) == dict(
            zip(EXPRESSIONS, found, strict=True)
        )


def simulated(folder, source, vectors):
    """Return what Icarus computes for each vector."""
    bench = folder / "bench.v"
    wires = "".join(f"wire [15:0] y{n};" for n in range(len(EXPRESSIONS)))
    connected = ", ".join(f".y{n}(y{n})" for n in range(len(EXPRESSIONS)))
    shown = " ".join(["%0d"] * len(EXPRESSIONS))
    values = ", ".join(f"y{n}" for n in range(len(EXPRESSIONS)))
    lines = "".join(
        f'a={a}; b={b}; s={s}; t={t}; #1 $display("{shown}", {values});\n' for a, b, s, t in vectors
    )
    bench.write_text(
        f"module bench; reg [7:0] a, b, s, t; {wires}\n"
        f"gates g(.clk(1'b0), .a(a), .b(b), .s(s), .t(t), {connected});\n"
        f"initial begin {lines} end\nendmodule\n"
    )
    out = folder / "bench"
    subprocess.run(["iverilog", "-g2012", "-o", out, source, bench], check=True)
    said = subprocess.run(["vvp", out], check=True, capture_output=True, text=True).stdout
    return [[int(word) for word in line.split()] for line in said.splitlines()]


def test_a_register_on_another_edge_is_told_with_its_line(tmp_path):
    """A register on the falling edge cannot be proved about; the message has file and line."""
    source = tmp_path / "odd.v"
    source.write_text(
        "module odd(input clk, input d, output reg q);\n  always @(negedge clk)\n    q <= d;\n"
        "endmodule\n"
    )
    with pytest.raises(CannotRun, match=r"odd\.v:2.*one clock and one edge"):
        machine(netlist(NetSource([source]), "odd"), "clk")


def test_what_yosys_does_not_take_is_told_with_its_line(tmp_path):
    """A construct that yosys refuses is reported in its words, at the user's file and line."""
    source = tmp_path / "odd.v"
    source.write_text("module odd(input clk);\n  initial force clk = 1;\nendmodule\n")
    with pytest.raises(CannotRun, match=rf"{source}:2: yosys: "):
        netlist(NetSource([source]), "odd")


def test_a_large_memory_is_refused(tmp_path):
    """A memory of more bits than can be looked at one by one is refused by name and size."""
    source = tmp_path / "big.v"
    source.write_text(
        "module big(input clk, input [11:0] a, input [7:0] d, output reg [7:0] q);\n"
        "  reg [7:0] store [0:4095];\n"
        "  always @(posedge clk) begin store[a] <= d; q <= store[a]; end\nendmodule\n"
    )
    with pytest.raises(TooLargeError, match="store has 32768 bits"):
        netlist(NetSource([source]), "big")


def test_logic_in_a_loop_is_told(tmp_path):
    """Combinational logic that feeds itself has no value between edges: an error."""
    source = tmp_path / "ring.v"
    source.write_text(
        "module ring(input clk, input a, output y);\n  wire x = ~(y & a);\n"
        "  assign y = ~(x & a);\nendmodule\n"
    )
    with pytest.raises(CannotRun, match="loop"):
        machine(netlist(NetSource([source]), "ring"), "clk")
