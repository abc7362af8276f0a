"""A solver tells mutants that nobody can ever see from those that a run could have seen."""

from pathlib import Path

import pytest

from refmodel.ground.processors import processors
from refmodel.mutate.score import EQUIVALENT, KILLED, SURVIVED, UNSEEN, Fate, Mutant
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.hdl.model_checker import ModelChecker
from testbenches.mutate.equal import Solver
from testbenches.mutate.twin import Twin

CORE = """
module tiny_regs(input clk, input rst, input bit_stb, input chosen, input a, input rd, input begins,
             input [15:0] din, output [15:0] dout, output [15:0] status, output reg [3:0] counted,
             input [2:0] cellstep_mutant);
  reg seen, late, same;
  wire taken = cellstep_mutant == 1 ? chosen : chosen && (bit_stb || !bit_stb);
  always @(posedge clk)
    if (rst) begin seen <= 0; late <= 0; same <= 0; counted <= 0; end
    else begin
      if (bit_stb) seen <= cellstep_mutant == 2 ? ~taken : taken;
      late <= seen;
      same <= seen;
      if (bit_stb) counted <= counted + (cellstep_mutant == 3 ? 2 : 1);
    end
  wire flag = late && (cellstep_mutant == 4 || same);
  assign status = {flag, 15'd0};
  assign dout = rd && begins && cellstep_mutant == 5 ? 16'hffff : rd && !a ? status :
                cellstep_mutant == 6 ? 16'h0001 : 16'h0000;
endmodule
"""
BINDING = """
core: {top: tiny_regs, sources: [small.v]}
profile: pal_dd
clock: {port: clk}
reset: {port: rst}
disk: {strobe: bit_stb, value: chosen}
bus: {address: a, read: rd, write: begins, write_data: din, read_data: dout, registers: {status: 0}}
tie: {cellstep_mutant: 0}
observe: {status: status}
"""


@pytest.fixture(scope="module")
def judged(tmp_path_factory):
    """Return what the solver says of each mutant of the small core."""
    folder = tmp_path_factory.mktemp("small")
    (folder / "small.v").write_text(CORE)
    (folder / "binding.yaml").write_text(BINDING)
    ports = preflight(load_binding(folder / "binding.yaml"))
    del ports.ports["cellstep_mutant"]
    binding = load_binding(folder / "binding.yaml").model_copy(update={"tie": {}})
    fates = [Fate(Mutant(n, "small.v", 1, "changed")) for n in range(1, 7)]
    fates.append(Fate(Mutant(7, "small.v", 1, "changed"), KILLED))
    Solver(Twin(binding, ports, 3), folder / "solver", lambda _: None).judge(fates)
    return {fate.mutant.number: fate for fate in fates}


@pytest.mark.parametrize(
    ("number", "fate"),
    [
        (1, EQUIVALENT),  # a condition that is always so
        (2, SURVIVED),
        (3, UNSEEN),  # a counter that no run looks at
        (4, EQUIVALENT),  # of two registers that are always alike one goes
        (5, EQUIVALENT),  # a read and a write at once, which no bus does
        (6, UNSEEN),  # a read of another address than that of status
        (7, KILLED),  # no question any more
    ],
)
def test_what_the_solver_says(judged, number, fate):
    """Equivalent, seen elsewhere only, or to be seen: known from the text of the core."""
    assert fate == judged[number].fate


def test_survivor_comes_with_a_cycle(judged):
    """The solver says how soon a difference can show."""
    assert judged[2].why.startswith("visible in cycle ")


def test_where_the_text_is(judged):
    """A mutant's place is a file and a line, as a compiler writes it."""
    assert f"{Path('small.v')}:1" == judged[1].mutant.place


def test_nothing_is_asked_once_it_is_given_up(tmp_path, monkeypatch):
    """A run that is stopped waits for no more than the questions under way."""
    (tmp_path / "small.v").write_text(CORE)
    (tmp_path / "binding.yaml").write_text(BINDING)
    ports = preflight(load_binding(tmp_path / "binding.yaml"))
    del ports.ports["cellstep_mutant"]
    binding = load_binding(tmp_path / "binding.yaml").model_copy(update={"tie": {}})
    asked = []
    twin = Twin(binding, ports, 3)
    solver = Solver(twin, tmp_path / "solver", lambda _: None, given_up=lambda: len(asked) > 0)
    monkeypatch.setattr(ModelChecker, "said", lambda _, commands, _s: asked.append(commands) or "")
    solver.judge([Fate(Mutant(n, "small.v", 1, "changed")) for n in range(1, 7)])
    questions = {commands.partition(";")[0] for commands in asked}  # each is tried in two ways
    assert 1 <= len(questions) <= processors()
