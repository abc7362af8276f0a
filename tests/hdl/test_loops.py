"""Logic that feeds itself is found before a simulator starts, and nothing else is taken for it."""

import pytest

from refmodel.ground.errors import CannotRun
from testbenches.hdl.elaborate import elaborate

HEAD = "module top(input clk, input [3:0] a, output [3:0] q);\n"
SUB = "module sub(input [3:0] i, output [3:0] o); assign o = i + 1; endmodule\n"
LOOPS = {
    "two assignments": "wire [3:0] x, y; assign x = ~y; assign y = x; assign q = y;",
    "one signal": "wire [3:0] x; assign x = x ^ a; assign q = x;",
    "a net declared with its value": "wire [3:0] x = a[0] ? ~x : 4'd0; assign q = x;",
    "one bit": "wire [3:0] x; assign x = {x[0], a[2:1], x[3]}; assign q = x;",
    "a block": "reg [3:0] x, y; always @* begin y = a; if (a[0]) y = x; end\n"
    "always @* x = y + 1; assign q = x;",
    "a listed block": "reg [3:0] x; always @(x or a) x = x & a; assign q = x;",
    "through an instance": "wire [3:0] x; sub u(.i(x), .o(x)); assign q = x;",
    "a condition": "wire x; assign x = x ? a[0] : a[1]; assign q = {4{x}};",
    "a case": "reg [3:0] x; always @* case (x) 1: x = a; default: x = 0; endcase\nassign q = x;",
    "a function": "function f; input i; f = ~i; endfunction wire x, y; assign x = f(y) | a[0];\n"
    "assign y = x; assign q = {3'd0, y};",
    "a function that returns": "function automatic [3:0] f(input [3:0] i); if (i[0]) return i;\n"
    "else return 4'd0; endfunction wire [3:0] x; assign x = f(x); assign q = x;",
    "a function that reads beside its arguments": "reg [3:0] x; function [3:0] f; input i;\n"
    "f = i ? x : a; endfunction always @* x = f(a[0]); assign q = x;",
    "a function of functions": "function g; input i; g = !i; endfunction function f; input i;\n"
    "f = g(g(i)); endfunction wire x; assign x = f(x); assign q = {4{x}};",
    "a generated one": "wire [3:0] x; genvar n; generate for (n = 0; n < 4; n = n + 1) begin : g\n"
    "assign x[n] = x[(n + 1) % 4] | a[n]; end endgenerate\nassign q = x;",
}
NONE = {
    "a chain within a vector": "wire [3:0] x; assign x = {x[2:0], a[0]}; assign q = x;",
    "a register": "reg [3:0] x; always @(posedge clk) x <= x + a; assign q = x;",
    "a value assigned first": "reg [3:0] x; always @* begin x = a; x = x + 1; end assign q = x;",
    "a branch a constant excludes": "parameter P = 0; wire [3:0] x;\n"
    "assign x = P == 1 ? x : a; assign q = x;",
    "a carry": "wire [4:0] c; assign c = {(a & c[3:0]) | a, 1'b0}; assign q = c[4:1];",
    "a temporary of a block": "reg [3:0] x, t; always @* begin t = a; x = t; t = x; end\n"
    "assign q = x;",
    "a mask": "wire [3:0] x; assign x = {x[2:0] & 3'b000, a[0]}; assign q = x;",
    "a chain through a function": "function [3:0] f; input [3:0] i; input j; f = {i[2:0], j};\n"
    "endfunction wire [3:0] x; assign x = f(x, a[0]); assign q = x;",
    "a function that passes nothing on": "function f; input i; f = 1'b0; endfunction\n"
    "wire x; assign x = f(x); assign q = {4{x}};",
    "a function that calls itself": "function automatic [3:0] f(input [3:0] i);\n"
    "f = i < 2 ? i : f(i - 1) + f(i - 2); endfunction wire [3:0] x = f(a); assign q = x;",
    "a block with a loop": "reg [3:0] x; integer n;\n"
    "always @* begin x = 0; for (n = 0; n < 4; n = n + 1) x[n] = a[n]; end assign q = x;",
}


def design(tmp_path, text):
    """Elaborate a module of that text."""
    path = tmp_path / "top.v"
    path.write_text(f"{HEAD}{text}\nendmodule\n{SUB}")
    return elaborate([path], "top")


@pytest.mark.parametrize("how", LOOPS)
def test_a_loop_is_refused_with_its_signals_and_lines(tmp_path, how):
    """The message has file, line and column of what drives each signal, and their order."""
    with pytest.raises(CannotRun, match=r"top\.v:\d+:\d+: a combinational loop: .*x.* -> ") as told:
        design(tmp_path, LOOPS[how])
    assert 125 == told.value.exit_status


@pytest.mark.parametrize("how", NONE)
def test_what_is_no_loop_is_taken(tmp_path, how):
    """A vector whose bits follow each other, a register, a value assigned first, are no loops."""
    assert {"clk", "a", "q"} == set(design(tmp_path, NONE[how]).ports)


def test_a_loop_ends_a_run_before_a_simulator_starts(core):
    """The command ends in 125 with the lines, on the simulator that would agree in silence, too."""
    equal = "assign sync_equal = SYNC_COMPARE == ALWAYS ? equal : matched;"
    loop = "wire la, lb; assign la = ~lb; assign lb = la;"
    done = core().change("sync_window.v", (equal, f"{equal} {loop}")).run()
    assert 125 == done.returncode
    assert "a combinational loop: u_window.l" in done.stderr
