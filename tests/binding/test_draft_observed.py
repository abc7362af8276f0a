"""What a draft observes has a name of the source, and levels are as deep as what is observed."""

import yaml

from testbenches.drafting.draft import draft

CORE = """
module fields (input clk, rst, stb, bit_in, rd, wr, adr, input [15:0] din, input busy, writing,
               output [15:0] answer);
  reg [15:0] window, sync_word, answer_q;
  reg [2:0] count;
  reg [7:0] data;
  reg ready, busy_now, writing_now;
  wire [15:0] next = {window[14:0], bit_in};
  WORD
  assign answer = answer_q;
  always @(posedge clk)
    if (rst) begin
      window <= 0; sync_word <= 16'h4489; count <= 0; data <= 0; ready <= 0;
      busy_now <= 0; writing_now <= 0; answer_q <= 0;
    end else begin
      busy_now <= busy; writing_now <= writing;
      answer_q <= adr ? 16'h0000 : SHOWN;
      if (wr && adr) sync_word <= din;
      if (rd && !adr) ready <= 0;
      if (stb) begin
        window <= next; count <= count + 1;
        if (count == 7) begin data <= next[7:0]; ready <= 1; end
      end
    end
endmodule
"""
WORD = "{ready, busy_now, writing_now, window == sync_word, 4'd0, data}"


def drafted(folder, declared, shown):
    """Return the draft for the core with its status word put together like that."""
    path = folder / "fields.v"
    path.write_text(CORE.replace("WORD", declared).replace("SHOWN", shown))
    return yaml.safe_load(draft([path]))


def test_a_translators_name_is_not_observed_where_the_source_has_one(tmp_path):
    """A word that is known by a number and by a name is observed by its name."""
    declared = f"wire [15:0] n17_o; wire [15:0] shown = n17_o; assign n17_o = {WORD};"
    data = drafted(tmp_path, declared, "shown")
    assert {"status": "shown"} == data["observe"]


def test_registers_behind_what_is_observed_are_no_depth_of_a_level(tmp_path):
    """Fields that are observed before a register leave levels as they are."""
    late = f"reg [15:0] late; always @(posedge clk) if (rst) late <= 0; else late <= {WORD};"
    data = drafted(tmp_path, late, "late")
    assert {"dma_active": "busy_now", "writing": "writing_now"}.items() <= (
        data["observe"]["fields"].items()
    )
    assert "busy" == data["inputs"]["dma_active"]
    assert "writing" == data["inputs"]["writing"]
