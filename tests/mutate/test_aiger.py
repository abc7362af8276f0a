"""A graph in AIGER's binary form is read, and written again with inputs set to constants."""

import pytest

from testbenches.hdl.aiger import Aiger
from testbenches.hdl.synth import NetSource, linked, run_yosys

# The toggle flip-flop with enable and reset of the format's paper (Biere 2007), written
# from memory in binary form: gates 8 = 6 & 2, 10 = 3 & 7, 12 = 9 & 11, 14 = 4 & 12.
TOGGLE = (
    b"aig 7 2 1 2 4\n14\n6\n7\n"
    + bytes([8 - 6, 6 - 2, 10 - 7, 7 - 3, 12 - 11, 11 - 9, 14 - 12, 12 - 4])
    + b"i0 enable\ni1 reset\no0 Q\no1 !Q\n"
)


def test_example_of_the_paper(tmp_path):
    """Its latch, outputs and gates are those that the paper lists."""
    path = tmp_path / "toggle.aig"
    path.write_bytes(TOGGLE)
    graph = Aiger.read(path)
    assert ("enable", "reset") == graph.inputs
    assert ((14, ""),) == graph.latches
    assert (6, 7) == graph.outputs
    assert ((6, 2), (7, 3), (11, 9), (12, 4)) == graph.gates
    assert TOGGLE[: TOGGLE.index(b"i0")] == graph.encoded()


def test_constant_input(tmp_path):
    """With enable 0 the latch only falls, with reset: one gate of the four is left."""
    path = tmp_path / "toggle.aig"
    path.write_bytes(TOGGLE)
    held = Aiger.read(path).with_constants({"enable": 0})
    changed = tmp_path / "changed.aig"
    changed.write_bytes(held.encoded() + b"i0 enable\ni1 reset\n")
    for graph in (held, Aiger.read(changed)):
        assert ((6, 4),) == graph.gates
        assert ((8, ""),) == graph.latches


def test_run(tmp_path):
    """It toggles in each cycle in which enable is 1, and reset, which is low, clears it."""
    path = tmp_path / "toggle.aig"
    path.write_bytes(TOGGLE)
    rows = [(1, 1), (1, 1), (0, 1), (1, 1), (0, 1), (0, 0), (0, 1)]
    shown = [values[3] for values in Aiger.read(path).run(rows)]
    assert [0, 1, 0, 0, 1, 1, 0] == shown


@pytest.mark.parametrize("bits", [3, 200])
def test_what_yosys_writes_is_read_whole(tmp_path, bits):
    """Written again it is what yosys wrote, numbers of several bytes among it."""
    (tmp_path / "core.v").write_text(
        f"module core(input clk, input [{bits - 1}:0] a, b, output reg [{bits - 1}:0] q);\n"
        "  initial q = 0;\n  always @(posedge clk) q <= q ^ (a & b) + a;\nendmodule\n"
    )
    source = NetSource([tmp_path / "core.v"])
    linked(source, tmp_path)
    commands = ["read_verilog 0", "hierarchy -top core", "proc", "techmap", "aigmap"]
    run_yosys([*commands, "write_aiger -zinit -symbols core.aig"], tmp_path, source)
    graph = Aiger.read(tmp_path / "core.aig")
    assert {f"a[{bits - 1}]", f"b[{bits - 1}]"} <= set(graph.inputs)
    written = graph.encoded()
    assert written == (tmp_path / "core.aig").read_bytes()[: len(written)]


def test_what_an_output_depends_on():
    """Of three latches in a row the first depends on itself alone, the last on all of them."""
    latches = ((2, ""), (4, ""), (6, ""))
    graph = Aiger(("i",), latches, (4, 6, 9, 2), ())
    assert [{0}, {0, 1}, {0, 1, 2}, set()] == [graph.cone(n) for n in range(4)]
