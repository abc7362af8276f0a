"""Ways to break a source of a core: tokens and lines, and what no simulator should survive.

In Verilog and in VHDL; what is changed in a token is the same in both.
"""

from __future__ import annotations

import random
import re

from break_text import TEXT_BREAKS, Break

TOKEN = re.compile(
    r"(?://|--)[^\n]*|\d*'s?[bodh][\da-f_xz]+|`?[A-Za-z_]\w*|\d+|[<>=!&|]=?|&&|\|\||\S", re.I
)
VERILOG_WORDS = (
    "wire",
    "reg",
    "input",
    "output",
    "always",
    "begin",
    "end",
    "if",
    "module",
    "assign",
)
VHDL_WORDS = ("signal", "process", "begin", "end", "if", "then", "is", "entity", "of", "out")
OPERATORS = ("&&", "||", "==", "!=", "<=", "+", "-", "&", "|", "^", "?", ":", "~", "!", "<<")
NUMBERS = ("0", "1", "2", "15", "1'bx")
AN_OPERATOR = r"[&|=!<+?^~-]"
READ = r"(?<=[=(&|?:!] )[a-z]|(?<=[(&|!])[a-z]"  # a name behind an operator
PORT = re.compile(r"^\s*(?:input|output)\s.*?(\w+)\s*,?\s*(?://.*)?$", re.M)


def _tokens(text: str, pattern: str = "") -> list[re.Match[str]]:
    """Return the tokens that match a pattern, those of comments left out; all if none does."""
    fits = re.compile(pattern)
    found = [one for one in TOKEN.finditer(text) if one[0][:2] not in ("//", "--")]
    return [one for one in found if fits.match(text, one.start())] or found


def _replaced(text: str, found: re.Match[str], new: str) -> str:
    return text[: found.start()] + new + text[found.end() :]


def _token(*new: str, pattern: str = "") -> Break:
    """Return a break that puts one of some forms, {0} the old token, in a token's place."""

    def broken(text: str, rng: random.Random) -> bytes:
        token = rng.choice(_tokens(text, pattern))
        return _replaced(text, token, rng.choice(new).format(token[0])).encode()

    return broken


def _swap_tokens(text: str, rng: random.Random) -> bytes:
    one, other = sorted(rng.sample(_tokens(text), 2), key=lambda token: token.start())
    return _replaced(_replaced(text, other, one[0]), one, other[0]).encode()


def _swap_names(text: str, rng: random.Random) -> bytes:
    """Put another name of the file in place of one."""
    names = [
        token for token in _tokens(text, "[a-z]") if token[0] not in (*VERILOG_WORDS, *VHDL_WORDS)
    ]
    return _replaced(text, rng.choice(names), rng.choice(names)[0]).encode()


def _port(form: str) -> Break:
    """Return a break of one port of the header: {line} declares it, {renamed} another name."""

    def broken(text: str, rng: random.Random) -> bytes:
        found = rng.choice(list(PORT.finditer(text)))
        renamed = re.sub(rf"\b{found[1]}\b", f"{found[1]}_x", found[0], count=1)
        return _replaced(text, found, form.format(line=found[0], renamed=renamed)).encode()

    return broken


def _within(code: str) -> Break:
    """Return a break that adds code to the file's last module, {0} its name."""

    def broken(text: str, rng: random.Random) -> bytes:
        del rng
        name = re.findall(r"^module (\w+)", text, re.M)[-1]
        head, end, tail = text.rpartition("endmodule")
        return f"{head}{code.replace('{0}', name)}\n{end}{tail}".encode()

    return broken


def _in_architecture(code: str) -> Break:
    """Return a break that adds a concurrent statement, or a declaration, to a VHDL file."""

    def broken(text: str, rng: random.Random) -> bytes:
        del rng
        head, end, tail = text.rpartition("end ")
        return f"{head}{code}\n{end}{tail}".encode()

    return broken


def _before(code: str) -> Break:
    """Return a break that puts code before the first line."""
    return lambda text, _: f"{code}\n{text}".encode()


def _renamed(text: str, rng: random.Random) -> bytes:
    del rng
    return re.sub(r"^module \w+", "module other", text, flags=re.M).encode()


TOKEN_BREAKS: dict[str, Break] = TEXT_BREAKS | {
    "delete_token": _token(""),
    "repeat_token": _token("{0} {0}"),
    "swap_tokens": _swap_tokens,
    "swap_names": _swap_names,
    "other_number": _token(*NUMBERS, pattern=r"\d"),
    "huge_number": _token("99999999999", "-1", "1e9", pattern=r"\d"),
    "name_misspelt": _token("{0}_", pattern="[a-z]"),
    "open_comment": _token("/* {0}"),
}
VERILOG_BREAKS: dict[str, Break] = TOKEN_BREAKS | {
    "other_word": _token(*VERILOG_WORDS),
    "other_operator": _token(*OPERATORS, pattern=AN_OPERATOR),
    "inverted": _token("(~{0})", pattern=READ),
    "constant": _token("1'b0", "1'b1", pattern=READ),
    "other_edge": _token("negedge", pattern="posedge"),
    "blocking": _token("=", pattern="<="),
    # modules and ports
    "module_renamed": _renamed,
    "module_twice": lambda text, _: f"{text}{text}".encode(),
    "module_missing": _within("not_there u_not_there (.clk(clk));"),
    "instance_of_itself": _within("{0} u_again ();"),
    "port_renamed": _port("{renamed}"),
    "port_missing": _port(""),
    "port_twice": _port("{line}\n{line}"),
    "driven_twice": _within("assign clk = 1'b0;"),
    # no end
    "endless_initial": _within("initial forever ;"),
    "endless_always": _within("always ;"),
    "endless_output": _within('initial forever $display("again and again");'),
    "endless_oscillation": _within("reg osc = 0; always @* osc = #0 ~osc; initial #900 osc = 1;"),
    "endless_ring": _within("wire ring; assign ring = clk ? ~ring : 1'b0;"),
    "endless_clock": _within("integer i; always @(posedge clk) while (1) i = i + 1;"),
    "endless_function": _within(
        "function integer f(input integer n); while (1) f = n; endfunction\nlocalparam F = f(1);"
    ),
    "endless_generate": _within("genvar g; generate for (g = 0; g < 2; g = g) wire w; endgenerate"),
    "deep_recursion": _within(
        "function automatic integer f(input integer n); f = f(n + 1); endfunction\n"
        "localparam F = f(1);"
    ),
    "deep_nesting": _within(f"wire deep = {'(' * 3000}clk{')' * 3000};"),
    "huge_memory": _within("reg [31:0] huge [0:400000000]; initial huge[5] = 1;"),
    "huge_vector": _within("wire [2000000000:0] huge = 0;"),
    # an end, and what else a core may do
    "finish": _within("initial #3000 $finish;"),
    "finish_at_once": _within("initial $finish;"),
    "stop": _within("initial #3000 $stop;"),
    "fatal": _within('initial #3000 $fatal(1, "given up");'),
    "error_told": _within('initial #3000 $error("something is wrong");'),
    "divided_by_zero": _within("wire [7:0] zero = 8'd1 / 8'd0; localparam Z = 1 / 0;"),
    "reaches_outside": _within("initial cellstep_harness.cycle = 0;"),
    "reads_a_file": _within('reg [7:0] m [0:3]; initial $readmemh("/etc/passwd", m);'),
    "delays": _within("reg late; always @(posedge clk) late <= #7 ~late;"),
    # directives
    "includes_itself": _before('`include "byte_framer.v"'),
    "include_missing": _before('`include "not_there.vh"'),
    "macro_of_itself": _within("`define M `M\nwire m = `M;"),
    "macro_missing": _within("wire m = `NOT_THERE;"),
    "if_open": _before("`ifdef A"),
    "own_timescale": _before("`timescale 1ps/1ps"),
}
VHDL_BREAKS: dict[str, Break] = TOKEN_BREAKS | {
    "other_word": _token(*VHDL_WORDS),
    "other_operator": _token("and", "or", "xor", "=", "/=", pattern="and|or|[=+&-]"),
    "inverted": _token("(not {0})", pattern="[a-z]"),
    "constant": _token("'0'", "'1'", '"111"', pattern="[a-z]"),
    "twice": lambda text, _: f"{text}{text}".encode(),
    "endless_process": _in_architecture(
        "endless : process begin loop null; end loop; end process;"
    ),
    "endless_ring": _in_architecture("status_now(0) <= not status_now(0);"),
    "endless_elaboration": _in_architecture(
        "many : for n in 0 to 2000000000 generate one : block begin end block; end generate;"
    ),
    "endless_function": _in_architecture(
        "deep : block function f(n : natural) return natural is begin return f(n + 1); end;\n"
        "constant C : natural := f(1); begin end block;"
    ),
    "huge_memory": _in_architecture(
        "huge : block type m is array (0 to 1000000000) of bit_vector(31 downto 0);\n"
        "signal held : m; begin end block;"
    ),
    "driven_twice": _in_architecture("status <= (others => '0');"),
    "reads_a_file": _in_architecture(
        'reads : process use std.textio.all; file f : text open read_mode is "/etc/passwd";\n'
        "begin wait; end process;"
    ),
    "library_missing": _before("library not_there; use not_there.all;"),
    "asserts": _in_architecture('assert false report "wrong" severity failure;'),
    "own_name": _in_architecture("begin : block begin end block;"),
}
SUBTLE = (  # they often leave a core that builds
    *("swap_names", "other_operator", "other_number", "inverted", "constant", "other_edge"),
    *("delete_line", "swap_lines", "blocking", "repeat_line"),
)
