"""A small core and its binding, which a test changes by replacing text."""

from datetime import date
from pathlib import Path

import pytest
from replaced import replaced

from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight

CORE = """\
module regs #(parameter W = 16) (
    input  wire         clk, en, rst_n, stb, bitv,
    input  wire [3:0]   adr,
    input  wire         rd, wr,
    input  wire [W-1:0] din,
    output reg  [W-1:0] dout,
    input  wire         dma, mode, trace,
    output wire [15:0]  status,
    inout  wire [7:0]   pads
);
    wire eq = status[12];
    flags u0 (.clk(clk), .q());
endmodule
module flags (input wire clk, output wire [3:0] q);
    reg ready;
    reg [7:0] last, mem [0:3];
endmodule
"""

BINDING = """\
core: {top: regs, sources: [regs.v]}
profile: pal_dd
clock: {port: clk, enable: en, enable_every: 4}
reset: {port: rst_n, active: low}
disk: {strobe: stb, value: {port: bitv, active: low}}
bus:
  address: adr
  read: rd
  write: {port: wr, active: low}
  write_data: din
  read_data: dout
  registers: {status: 0x4, sync_word: 0x8}
inputs: {dma_active: dma}
tie: {mode: 1, trace: 0}
observe: {status: status}
latency: {status: 1, data: 2}
waivers: [{field: writing, reason: no writer yet, until: 2027-01-31}]
"""
TODAY = date(2027, 1, 31)


@pytest.fixture
def load(tmp_path, monkeypatch):
    """Write the binding and its core, changed, into the current folder and load the binding."""
    monkeypatch.chdir(tmp_path)

    def load(changes=None, core=None, today=TODAY):
        (tmp_path / "regs.v").write_text(replaced(CORE, *(core or {}).items()))
        (tmp_path / "binding.yaml").write_text(replaced(BINDING, *(changes or {}).items()))
        return load_binding(Path("binding.yaml"), today)

    return load


@pytest.fixture
def check(load):
    """Load the binding and hold it against its core."""

    def check(changes=None, core=None):
        return preflight(load(changes, core))

    return check
