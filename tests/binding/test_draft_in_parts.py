"""A core in SystemVerilog: a status word of a struct, and registers with their next values."""

import pytest

from testbenches.drafting.draft import draft

PARTS = """\
package regs;
  typedef struct packed {
    logic ready, moving, writes, equal;
    logic [3:0] none;
    logic [7:0] last;
  } status_t;
endpackage
module parts import regs::*; (
  input logic clk_i, rst_ni, bit_valid_i, bit_i, re_i, we_i,
  input logic [3:0] addr_i, input logic [15:0] wdata_i, output logic [15:0] rdata_o
);
  logic [15:0] shift_q, sync_q;
  logic [2:0] count_q;
  logic [7:0] byte_q;
  logic ready_q;
  wire [15:0] shift_n = {shift_q[14:0], bit_i};
  wire hit_n = shift_n == sync_q;
  always_ff @(posedge clk_i or negedge rst_ni)
    if (!rst_ni) begin
      shift_q <= 0; sync_q <= 16'h4489; count_q <= 0; byte_q <= 0; ready_q <= 0;
    end else begin
      if (re_i && addr_i == 2) ready_q <= 0;
      if (bit_valid_i) begin
        shift_q <= shift_n;
        count_q <= count_q + 1;
        if (&count_q) begin byte_q <= shift_n[7:0]; ready_q <= 1; end
        if (hit_n) count_q <= 0;
      end
      if (we_i && addr_i == 4) sync_q <= wdata_i;
    end
  // STATUS
  assign rdata_o = addr_i == 2 ? st : 0;
endmodule
"""
IN_PARTS = """\
  status_t st;
  always_comb begin
    st = '0;
    st.ready = ready_q; st.equal = shift_q == sync_q; st.last = byte_q;
    st.moving = bit_i; st.writes = we_i;
  end
"""
BIT_BY_BIT = """\
  wire [15:0] st;
  assign st[15] = ready_q, st[14] = bit_i, st[13] = we_i, st[12] = shift_q == sync_q;
  assign st[11:8] = 0, st[7:0] = byte_q;
"""


@pytest.mark.parametrize("made", [IN_PARTS, BIT_BY_BIT], ids=["struct", "bit by bit"])
def test_a_status_word_assigned_in_parts_is_seen(made, tmp_path):
    """A default and then members of a struct, or an assignment a field: it is status either way."""
    path = tmp_path / "parts.sv"
    path.write_text(PARTS.replace("  // STATUS\n", made))
    assert "status: st  # likely: flags and data stand in it" in draft([path], "parts", tmp_path)


def test_the_next_value_of_a_register_is_not_taken_for_a_field(tmp_path):
    """Where shift_q comes from shift_n, hit_n is no sync_equal, nor is it active low."""
    path = tmp_path / "parts.sv"
    word = "{ready_q, 14'd0, shift_q == sync_q}"
    path.write_text(PARTS.replace("  // STATUS\n", "").replace("? st :", f"? {word} :"))
    text = draft([path], "parts", tmp_path)
    assert "hit_n" not in text.partition("observe:")[2].partition("latency:")[0]
